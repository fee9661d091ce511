// The stretch of road that a corner sheet shows, and where it lies on the screen.
import { cornerLap, complexOf, lengthOf } from "./desk";
import { extent, near, wrap } from "./places";
import type { Corner, Numbers, View } from "./view";

export interface Frame {
  view: View;
  corner: Corner;
  /** Places in metres, counted on over the start line: `from` < apex < `to`. */
  from: number;
  to: number;
  /** Pixels. */
  width: number;
  left: number;
  right: number;
  narrow: boolean;
  /** For paper: shorter, and without the lines under the road, which stand in words elsewhere. */
  paper: boolean;
  x: (place: number) => number;
  place: (x: number) => number;
}

const MOST_BEFORE = 340;
const MOST_AFTER = 300;

/** The stretch worth showing: from before the first action to after the last. */
function stretch(view: View, corner: Corner): [number, number] {
  const length = lengthOf(view);
  const close = (place: number) => near(place, corner.apex_m, length);
  const places = complexOf(view, corner).flatMap((c) => [close(c.start_m), close(c.end_m)]);
  for (const name of ["off_throttle_m", "brake_start_m", "turn_in_m", "full_throttle_m"]) {
    const action = corner.actions[name];
    if (action?.median == null) continue;
    const spread = 2 * (action.spread ?? 0);
    places.push(close(action.median) - spread, close(action.median) + spread);
  }
  const apex = corner.apex_m;
  const kept = places.filter((p) => p > apex - MOST_BEFORE && p < apex + MOST_AFTER);
  const low = Math.min(...kept, apex - 60);
  const high = Math.max(...kept, apex + 60);
  const margin = 0.05 * (high - low) + 8;
  const middle = Math.min(length / 2, high + margin);
  return [Math.max(low - margin, apex - length / 2), Math.max(middle, high + margin)];
}

export function makeFrame(view: View, corner: Corner, width: number, paper = false): Frame {
  const [from, to] = stretch(view, corner);
  const narrow = width < 640;
  const left = narrow ? 38 : 76;
  const right = width - (narrow ? 6 : 14);
  const scale = (right - left) / (to - from);
  return {
    view,
    corner,
    from,
    to,
    width,
    left,
    right,
    narrow,
    paper,
    x: (place) => left + (near(place, (from + to) / 2, lengthOf(view)) - from) * scale,
    place: (x) => from + (Math.min(Math.max(x, left), right) - left) / scale,
  };
}

/** Sample numbers of the frame, no denser than the screen can show. */
export function samples(frame: Frame): number[] {
  const step = frame.view.pictures.step_m;
  const first = Math.ceil(frame.from / step);
  const last = Math.floor(frame.to / step);
  const jump = Math.max(1, Math.floor((last - first) / (frame.width * 0.75)));
  const list: number[] = [];
  for (let i = first; i <= last; i += jump) list.push(i);
  return list;
}

/** A line through samples of a channel; gaps stay gaps. */
export function tracePath(frame: Frame, list: number[], channel: Numbers, y: (v: number) => number): string {
  const step = frame.view.pictures.step_m;
  const count = frame.view.pictures.points;
  const scale = (frame.right - frame.left) / (frame.to - frame.from);
  let path = "";
  let pen = "M";
  for (const i of list) {
    const value = channel[wrap(i, count)]!;
    if (Number.isNaN(value)) {
      pen = "M";
      continue;
    }
    path += `${pen}${(frame.left + (i * step - frame.from) * scale).toFixed(1)} ${y(value).toFixed(1)}`;
    pen = "L";
  }
  return path;
}

/** The band that most laps keep within: all of them when they are few, 8 in 10 when many. */
export function bandOf(channels: Numbers[], list: number[], count: number): { low: Float64Array; high: Float64Array } {
  const low = new Float64Array(count).fill(NaN);
  const high = new Float64Array(count).fill(NaN);
  const values = new Float64Array(channels.length);
  const cut = channels.length >= 10 ? 0.1 : 0;
  for (const i of list) {
    const k = wrap(i, count);
    let known = 0;
    for (const channel of channels) {
      const value = channel[k]!;
      if (!Number.isNaN(value)) values[known++] = value;
    }
    if (!known) continue;
    const sorted = values.subarray(0, known).sort();
    const drop = Math.floor(cut * known);
    low[k] = sorted[drop]!;
    high[k] = sorted[known - 1 - drop]!;
  }
  return { low, high };
}

/** A closed shape between two traces. */
export function bandPath(
  frame: Frame,
  list: number[],
  low: Numbers,
  high: Numbers,
  y: (v: number) => number,
): string {
  const whole = list.filter((i) => !Number.isNaN(low[wrap(i, low.length)]!));
  if (whole.length < 2) return "";
  const top = tracePath(frame, whole, high, y);
  const back = tracePath(frame, [...whole].reverse(), low, y);
  return `${top}L${back.slice(1)}Z`;
}

/** Lowest and highest value of channels within the frame. */
export function rangeIn(list: number[], channels: Numbers[], count: number): [number, number] {
  return extent(channels.map((channel) => list.map((i) => channel[wrap(i, count)]!)));
}

/** Every used lap's own place or value of an action. */
export function everyLap(view: View, corner: Corner, action: string): { lap: string; value: number }[] {
  const found: { lap: string; value: number }[] = [];
  for (const lap of view.guide.laps) {
    const value = lap.used ? cornerLap(view, corner.id, lap.id)?.actions[action] : null;
    if (value !== null && value !== undefined && !Number.isNaN(value)) found.push({ lap: lap.id, value });
  }
  return found;
}
