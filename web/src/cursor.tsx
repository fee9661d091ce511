// The cursor of a corner sheet: one line over ribbon and strips, with the values beside it.
import { useRef } from "preact/hooks";
import { heldLabel } from "./account";
import { fromApex, lapName, lapOf, lengthOf, useCursor, type Desk } from "./desk";
import type { Frame } from "./frame";
import type { RibbonLayout } from "./ribbon-layout";
import { at, near } from "./places";
import { lostOf } from "./ribbon";
import { bare, ruleOf, write } from "./sentences";
import { aheadAt } from "./sight";
import type { Strip } from "./strips";
import type { Corner } from "./view";

/** "12 m before the apex" */
export function placeText(desk: Desk, corner: Corner, place: number): string {
  const metres = fromApex(desk.view, corner, place);
  const text = write(Math.abs(metres), "distance", desk.system);
  if (Number.parseFloat(text) === 0) return "at the apex";
  return `${text} ${metres < 0 ? "before" : "after"} the apex`;
}

function lostText(desk: Desk, frame: Frame, place: number): string {
  const lost = lostOf(desk);
  const seconds = lost ? lost(place) - lost(frame.from) : NaN;
  if (Number.isNaN(seconds)) return "";
  const size = write(Math.abs(seconds), "time", desk.system, 2);
  const words = `${size} ${seconds >= 0 ? "lost so far" : "gained so far"}`;
  return frame.narrow ? words : `${words} against ${heldLabel(desk)}`;
}

/** The nearer edge, and how far it is. */
function edgeText(desk: Desk, place: number): string {
  const { road, step_m } = desk.view.pictures;
  const shown = lapOf(desk, desk.shown);
  if (!shown) return "";
  const n = at(shown.n, place, step_m);
  const left = at(road.left, place, step_m) - n;
  const right = at(road.right, place, step_m) + n;
  const side = left < right ? "left" : "right";
  return `${write(Math.min(left, right), "offset", desk.system)} to the ${side} edge`;
}

function stripText(desk: Desk, strip: Strip, place: number): string {
  const { road, step_m } = desk.view.pictures;
  if (!strip.channel) {
    const k = at(road.curvature, place, step_m);
    if (Math.abs(k) < 1 / 900) return "straight";
    return `${k > 0 ? "left" : "right"}, radius ${write(1 / Math.abs(k), "distance", desk.system)}`;
  }
  const [shown, against] = [desk.shown, desk.against].map((id) => {
    const channel = lapOf(desk, id)?.[strip.channel!];
    return channel ? at(channel, place, step_m) : NaN;
  }) as [number, number];
  const { unit } = ruleOf(strip.quantity, desk.system);
  const tail = unit === "°" ? unit : `\u00a0${unit}`;
  const first = Number.isNaN(shown) ? "–" : bare(shown, strip.quantity, desk.system);
  if (desk.against === null || desk.against === desk.shown || Number.isNaN(against)) return first + tail;
  return `${first}${tail} · ${lapName(desk.view, desk.against)}: ${bare(against, strip.quantity, desk.system)}`;
}

/** What a listener hears when the cursor moves. */
export function spoken(desk: Desk, frame: Frame, strips: Strip[], place: number): string {
  const values = strips
    .filter((strip) => strip.channel && !strip.lacking)
    .map((strip) => `${strip.lacks} ${stripText(desk, strip, place)}`);
  const ahead = aheadAt(desk.view, place);
  const seen = Number.isNaN(ahead) ? "" : `${write(ahead, "distance", desk.system)} of road in view`;
  return [placeText(desk, frame.corner, place), ...values, seen, edgeText(desk, place), lostText(desk, frame, place)]
    .filter(Boolean)
    .join(", ");
}

interface Props {
  desk: Desk;
  layout: RibbonLayout;
  strips: Strip[];
  bottom: number;
}

export function Cursor({ desk, layout, strips, bottom }: Props) {
  const { frame } = layout;
  const group = useRef<SVGGElement>(null);
  useCursor((place) => {
    const node = group.current;
    if (!node) return;
    const here = near(place, (frame.from + frame.to) / 2, lengthOf(desk.view));
    const inside = here >= frame.from && here <= frame.to;
    node.ownerSVGElement?.classList.toggle("reading", inside);
    node.style.display = inside ? "" : "none";
    if (inside) draw(node, desk, layout, strips, here);
  });
  return (
    <g class="cursor" ref={group} style={{ display: "none" }} aria-hidden="true">
      <path data-part="line" d={`M0 ${layout.roadTop - 6}V${layout.roadBottom + 6}M0 ${strips[0]!.top - 48}V${bottom}`} />
      <circle data-part="against" class="dot against" r={3.5} />
      <circle data-part="this" class="dot this" r={4} />
      <text data-part="edge" class="halo" />
      {strips.map((strip) => (
        <g key={strip.key} data-part={`strip-${strip.key}`}>
          {strip.channel && !strip.lacking && <circle class="dot this" r={3.5} />}
          {!strip.lacking && <text class="halo" y={strip.top + 11} />}
        </g>
      ))}
      <text data-part="place" class="halo" y={strips[0]!.top - (frame.narrow ? 47 : 36)} />
      <text data-part="lost" class="halo" y={strips[0]!.top - (frame.narrow ? 31 : 21)} />
    </g>
  );
}

function draw(node: SVGGElement, desk: Desk, layout: RibbonLayout, strips: Strip[], place: number): void {
  const { frame } = layout;
  const step = desk.view.pictures.step_m;
  const x = frame.x(place);
  const flip = x > (frame.left + frame.right) / 2;
  const part = (name: string) => node.querySelector(`[data-part="${name}"]`);
  const write = (text: Element | null, words: string, y?: number) => {
    if (!text) return;
    text.textContent = words;
    text.setAttribute("x", (flip ? x - 9 : x + 9).toFixed(1));
    text.setAttribute("text-anchor", flip ? "end" : "start");
    if (y !== undefined) text.setAttribute("y", y.toFixed(1));
  };
  const dot = (circle: Element | null | undefined, value: number, y: (v: number) => number) => {
    circle?.setAttribute("transform", Number.isNaN(value) ? "translate(-99 -99)" : `translate(${x} ${y(value)})`);
  };
  part("line")?.setAttribute("transform", `translate(${x} 0)`);
  for (const [name, id] of [["this", desk.shown], ["against", desk.against]] as const) {
    const lap = lapOf(desk, id);
    dot(part(name), lap ? at(lap.n, place, step) : NaN, layout.y);
  }
  write(part("edge"), edgeText(desk, place), layout.roadBottom - 6);
  for (const strip of strips) {
    const group = part(`strip-${strip.key}`);
    const channel = strip.channel ? lapOf(desk, desk.shown)?.[strip.channel] : null;
    dot(group?.querySelector("circle"), channel ? at(channel, place, step) : NaN, strip.y);
    write(group?.querySelector("text") ?? null, stripText(desk, strip, place));
  }
  write(part("place"), placeText(desk, frame.corner, place));
  write(part("lost"), lostText(desk, frame, place));
}
