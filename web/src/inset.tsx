// The corner from above, driven from the bottom of the picture upwards.
import { useRef } from "preact/hooks";
import { lapOf, lengthOf, useCursor, type Desk } from "./desk";
import { lineUps } from "./details";
import type { Flag } from "./flags";
import { samples, type Frame } from "./frame";
import { at, near, wrap } from "./places";
import { hiddenFrom, seenIn, seenWords } from "./sight";
import type { Landmark, Numbers } from "./view";

type Point = [number, number];

interface Above {
  /** Screen point of a place and an offset to the left. */
  point: (place: number, n: number) => Point;
  height: number;
  metre: number;
}

const PAD = 16;

/** Turn and scale the stretch so that it is entered upwards and fills the picture. */
function layoutAbove(desk: Desk, frame: Frame, width: number, most: number): Above {
  const { road, step_m, points } = desk.view.pictures;
  const list = samples(frame);
  const [first, second] = [list[0]!, list[Math.min(6, list.length - 1)]!].map((i) => wrap(i, points)) as [number, number];
  const turn = Math.PI / 2 - Math.atan2(road.y[second]! - road.y[first]!, road.x[second]! - road.x[first]!);
  const [cos, sin] = [Math.cos(turn), Math.sin(turn)];
  const spin = (x: number, y: number): Point => [x * cos - y * sin, -(x * sin + y * cos)];
  const plane = (place: number, n: number): Point => {
    const [x, y] = [at(road.x, place, step_m), at(road.y, place, step_m)];
    const dx = at(road.x, place + step_m, step_m) - at(road.x, place - step_m, step_m);
    const dy = at(road.y, place + step_m, step_m) - at(road.y, place - step_m, step_m);
    const long = Math.hypot(dx, dy) || 1;
    return spin(x - (n * dy) / long, y + (n * dx) / long);
  };
  const all = list.flatMap((i) => [plane(i * step_m, 9), plane(i * step_m, -9)]);
  const xs = all.map((p) => p[0]);
  const ys = all.map((p) => p[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const metre = Math.min((width - 2 * PAD) / (x1 - x0), (most - 2 * PAD) / (y1 - y0));
  const height = (y1 - y0) * metre + 2 * PAD;
  const shift = (width - (x1 - x0) * metre) / 2;
  return {
    metre,
    height,
    point: (place, n) => {
      const [x, y] = plane(place, n);
      return [(x - x0) * metre + shift, (y - y0) * metre + PAD];
    },
  };
}

function line(above: Above, frame: Frame, list: number[], n: (place: number, i: number) => number): string {
  const step = frame.view.pictures.step_m;
  let path = "";
  for (const i of list) {
    const value = n(i * step, i);
    if (Number.isNaN(value)) continue;
    const [x, y] = above.point(i * step, value);
    path += `${path ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`;
  }
  return path;
}

interface Props {
  desk: Desk;
  frame: Frame;
  flags: Flag[];
  width: number;
  most: number;
}

export function Inset({ desk, frame, flags, width, most }: Props) {
  const { road, points } = desk.view.pictures;
  const above = layoutAbove(desk, frame, width, most);
  const list = samples(frame);
  const channel = (values: Numbers, sign = 1) => line(above, frame, list, (_, i) => sign * values[wrap(i, points)]!);
  const left = channel(road.left);
  const right = channel(road.right, -1);
  const back = line(above, frame, [...list].reverse(), (_, i) => -road.right[wrap(i, points)]!);
  const edge = desk.view.guide.circuit.surveyed ? "edge" : "edge unsurveyed";
  const shown = lapOf(desk, desk.shown);
  const against = lapOf(desk, desk.against);
  const { possible } = desk.view.pictures;
  const seen = seenIn(desk, frame);
  return (
    <svg
      class="inset"
      viewBox={`0 0 ${width} ${above.height.toFixed(0)}`}
      role="img"
      aria-label={`The corner from above, a ${frame.corner.direction}-hander, entered from the bottom${seen ? `; ${seenWords(desk, seen)}` : ""}`}
    >
      <path class="road" d={`${left}L${back.slice(1)}Z`} />
      <Hidden above={above} desk={desk} frame={frame} />
      <path class={edge} d={left} />
      <path class={edge} d={right} />
      {possible && <path class="lap possible" d={channel(possible.n)} />}
      {against && <path class="lap against" d={channel(against.n)} />}
      {shown && <path class="lap this" d={channel(shown.n)} />}
      <LineUps above={above} desk={desk} frame={frame} />
      <Entry above={above} frame={frame} />
      {flags
        .filter((flag) => flag.tone === "action" && shown)
        .map((flag) => {
          const [x, y] = above.point(flag.place, at(shown!.n, flag.place, frame.view.pictures.step_m));
          return <circle key={flag.key} class="mark this" cx={x} cy={y} r={3} />;
        })}
      <InsetCursor desk={desk} frame={frame} above={above} />
    </svg>
  );
}

/** The road that is hidden from the brake point, and the last of it that is seen from there. */
function Hidden({ above, desk, frame }: { above: Above; desk: Desk; frame: Frame }) {
  const seen = seenIn(desk, frame);
  const from = hiddenFrom(seen, frame);
  if (!seen || from === null) return null;
  const { road, step_m, points } = desk.view.pictures;
  const list = samples(frame).filter((i) => i * step_m >= from);
  if (list.length < 2) return null;
  const left = line(above, frame, list, (_, i) => road.left[wrap(i, points)]!);
  const back = line(above, frame, [...list].reverse(), (_, i) => -road.right[wrap(i, points)]!);
  const [a, b] = [above.point(from, at(road.left, from, step_m)), above.point(from, -at(road.right, from, step_m))];
  return (
    <g class="hidden">
      <path class="veil" d={`${left}L${back.slice(1)}Z`} />
      <path class="horizon" d={`M${a}L${b}`} />
    </g>
  );
}

/** From where two landmarks line up that an action is taken on, through both. */
function LineUps({ above, desk, frame }: { above: Above; desk: Desk; frame: Frame }) {
  const { sight, landmarks, step_m } = desk.view.pictures;
  const length = lengthOf(desk.view);
  const lap = lapOf(desk, desk.shown);
  const spot = ({ at_m, off_m }: Landmark) => above.point(near(at_m, frame.corner.apex_m, length), off_m);
  return (
    <g>
      {lineUps(desk, frame).map((mark) => {
        const [one, other] = mark.landmarks.map((name) => landmarks.find((l) => l.name === name));
        const line = sight?.alignments.find((a) => a.near === one?.name && a.far === other?.name);
        if (!one || !other || !line || !lap) return null;
        const eye = near(line.at_m, frame.corner.apex_m, length);
        if (eye < frame.from || eye > frame.to) return null;
        return (
          <g key={mark.action}>
            <path class="lineup" d={`M${above.point(eye, at(lap.n, eye, step_m))}L${spot(other)}`} />
            {[one, other].map((l) => {
              const [x, y] = spot(l);
              return <path key={l.name} class="landmark" d={`M${x} ${y - 4}l4 7h-8Z`} />;
            })}
          </g>
        );
      })}
    </g>
  );
}

/** An arrow before the road begins. */
function Entry({ above, frame }: { above: Above; frame: Frame }) {
  const [x, y] = above.point(frame.from, 0);
  return <path class="driving" d={`M${x} ${y + 13}V${y + 3}m-3.5 5l3.5 -5l3.5 5`} />;
}

function InsetCursor({ desk, frame, above }: { desk: Desk; frame: Frame; above: Above }) {
  const group = useRef<SVGGElement>(null);
  useCursor((place) => {
    const here = near(place, (frame.from + frame.to) / 2, lengthOf(desk.view));
    const node = group.current;
    if (!node) return;
    const inside = here >= frame.from && here <= frame.to;
    node.style.display = inside ? "" : "none";
    if (!inside) return;
    const { road, step_m } = desk.view.pictures;
    const [a, b] = [above.point(here, at(road.left, here, step_m) + 2), above.point(here, -at(road.right, here, step_m) - 2)];
    node.firstElementChild?.setAttribute("d", `M${a[0]} ${a[1]}L${b[0]} ${b[1]}`);
    const lap = lapOf(desk, desk.shown);
    const n = lap ? at(lap.n, here, step_m) : NaN;
    const [x, y] = Number.isNaN(n) ? [-99, -99] : above.point(here, n);
    node.lastElementChild?.setAttribute("transform", `translate(${x} ${y})`);
  });
  return (
    <g class="cursor" ref={group} style={{ display: "none" }} aria-hidden="true">
      <path />
      <circle class="dot this" r={4} />
    </g>
  );
}
