// On the ribbon: the comb of what road is worth, where the road presses the car down or lets it go light.
import type { Desk } from "./desk";
import { tracePath, type Frame } from "./frame";
import { near, wrap } from "./places";
import { spanPlaces, type RibbonLayout } from "./ribbon-layout";
import { ruleOf, write } from "./sentences";
import type { Numbers, PossibleLine, View } from "./view";

/** Length of the longest tooth, px, and the way between teeth. */
export const TOOTH = 15;
const APART = 5;
/** A tooth says what the road about it is worth, over this length, m. */
const ABOUT = 10;
/** Load that is marked, share of the weight (common practice, no source). */
const FELT = 0.05;

interface Comb {
  left: Float64Array;
  right: Float64Array;
  /** The most that ABOUT metres of road are worth on this circuit, s for a metre of width. */
  most: number;
}

const combs = new WeakMap<View, Comb>();

/** Worth of a metre of width over the ten metres about each place. */
export function combOf(view: View): Comb | null {
  const line = view.pictures.possible;
  if (!line) return null;
  let comb = combs.get(view);
  if (!comb) {
    const [left, right] = [line.worth_left, line.worth_right].map((w) => sumAbout(w, view.pictures.step_m)) as [Float64Array, Float64Array];
    comb = { left, right, most: Math.max(...left, ...right) };
    combs.set(view, comb);
  }
  return comb.most > 0 ? comb : null;
}

function sumAbout(worth: Numbers, step: number): Float64Array {
  const half = Math.max(0, Math.round(ABOUT / step / 2));
  const count = worth.length;
  const out = new Float64Array(count);
  let sum = 0;
  for (let i = -half; i <= half; i++) sum += worth[wrap(i, count)]!;
  for (let i = 0; i < count; i++) {
    out[i] = (sum / (2 * half + 1)) * ABOUT;
    sum += worth[wrap(i + half + 1, count)]! - worth[wrap(i - half, count)]!;
  }
  return out;
}

/** Whether a side of the road has teeth that can be seen in a frame. */
export function hasTeeth(frame: Frame, list: number[], side: "left" | "right"): boolean {
  const comb = combOf(frame.view);
  return comb !== null && list.some((i) => comb[side][wrap(i, frame.view.pictures.points)]! / comb.most > 1 / TOOTH);
}

export function CombPicture({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const comb = combOf(desk.view);
  if (!comb) return null;
  return <path class="comb" d={teeth(desk, layout, comb, "left") + teeth(desk, layout, comb, "right")} />;
}

function teeth(desk: Desk, layout: RibbonLayout, comb: Comb, side: "left" | "right"): string {
  const { frame, y } = layout;
  const { road, step_m, points, spans } = desk.view.pictures;
  const sign = side === "left" ? 1 : -1;
  const kerbs = spans.filter((span) => span.kind === "kerb").map((span) => ({ span, ends: spanPlaces(frame, span) }));
  let path = "";
  for (let x = frame.left + APART / 2; x < frame.right; x += APART) {
    const place = frame.place(x);
    const i = wrap(Math.round(place / step_m), points);
    const long = (comb[side][i]! / comb.most) * TOOTH;
    if (long < 1) continue;
    const beside = kerbs.filter(({ ends: [a, b] }) => place >= a && place <= b);
    const outer = Math.max(road[side][i]!, ...beside.map(({ span }) => sign * (side === "left" ? span.left_m : span.right_m)));
    const root = y(sign * outer) - sign * 1.5;
    path += `M${x.toFixed(1)} ${root.toFixed(1)}v${(-sign * long).toFixed(1)}`;
  }
  return path;
}

/** What the longest tooth stands for. */
export function combWords(desk: Desk): string {
  const comb = combOf(desk.view);
  if (!comb) return "";
  const offset = ruleOf("offset", desk.system);
  const distance = ruleOf("distance", desk.system);
  const worth = (comb.most * 10) / distance.factor / ABOUT / offset.factor;
  return `what road is worth; longest: ${write(worth, "time", desk.system, 3)} for 1\u00a0${offset.unit} of width over 10\u00a0${distance.unit}`;
}

export interface LoadStretch {
  kind: "pressed" | "light";
  from: number;
  to: number;
  /** Where it is felt most, and by how much. */
  peak: number;
  share: number;
}

/** Stretches of a frame in which the load along the fastest line is felt. */
export function loadStretches(frame: Frame, list: number[]): LoadStretch[] {
  const { possible, points, step_m } = frame.view.pictures;
  const load = (possible as PossibleLine | null | undefined)?.load;
  if (!load) return [];
  const found: LoadStretch[] = [];
  for (const i of list) {
    const share = load[wrap(i, points)]!;
    if (!(Math.abs(share) >= FELT)) continue;
    const kind = share > 0 ? "pressed" : "light";
    const place = i * step_m;
    const last = found[found.length - 1];
    if (last && last.kind === kind && place - last.to <= 2.5 * step_m * Math.max(1, list[1]! - list[0]!)) {
      last.to = place;
      if (Math.abs(share) > Math.abs(last.share)) [last.share, last.peak] = [share, place];
    } else found.push({ kind, from: place, to: place, peak: place, share });
  }
  return found.filter((one) => one.to - one.from >= 8);
}

export function LoadPicture({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  return (
    <g>
      {loadStretches(layout.frame, layout.list).map(({ kind, from, to }) => (
        <path key={from} class={`load ${kind}`} d={roadBetween(desk, layout, from, to)} />
      ))}
    </g>
  );
}

/** The road's surface between two places of a frame. */
export function roadBetween(desk: Desk, { frame, list, y }: RibbonLayout, from: number, to: number): string {
  const { road, step_m } = desk.view.pictures;
  const inside = list.filter((i) => i * step_m >= from && i * step_m <= to);
  if (inside.length < 2) return "";
  const top = tracePath(frame, inside, road.left, y);
  const bottom = tracePath(frame, [...inside].reverse(), road.right, (v) => y(-v));
  return `${top}L${bottom.slice(1)}Z`;
}

/** Ends of a stretch of road as the frame counts places. */
export function stretchIn(frame: Frame, from: number, to: number): [number, number] {
  const length = frame.view.pictures.step_m * frame.view.pictures.points;
  const long = wrap(to - from, length);
  const middle = near(from + long / 2, (frame.from + frame.to) / 2, length);
  return [middle - long / 2, middle + long / 2];
}
