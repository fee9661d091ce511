// What can be seen from the driver's eye: the stretch in view, and the road that is hidden.
import { cornerLap, lengthOf, type Desk } from "./desk";
import type { Frame } from "./frame";
import { at, near } from "./places";
import { say } from "./sentences";
import type { EyeWords, View } from "./view";

export interface Seen {
  /** Place of the eye, and what is said of it. */
  from: number;
  eye: EyeWords;
  ahead: number;
  /** Seen as far as was looked: it may be more. */
  open: boolean;
}

/** Metres of road in view from a place; NaN where that is not known. */
export function aheadAt(view: View, place: number): number {
  const { sight, step_m } = view.pictures;
  return sight ? at(sight.ahead_m, place, step_m) : NaN;
}

/** The road in view where the corner is prepared: at the brake point, or where it is turned in. */
export function seenIn(desk: Desk, frame: Frame): Seen | null {
  const { corner } = frame;
  const own = cornerLap(desk.view, corner.id, desk.shown);
  for (const [name, eye] of Object.entries(desk.view.words.marks.eyes)) {
    const place = name === "start_m" ? corner.start_m : (own?.actions[name] ?? corner.actions[name]?.median);
    if (place === null || place === undefined) continue;
    const from = near(place, corner.apex_m, lengthOf(desk.view));
    const ahead = aheadAt(desk.view, from);
    if (Number.isNaN(ahead)) continue;
    return { from, eye, ahead, open: ahead >= desk.view.pictures.sight!.reach_m - 0.5 };
  }
  return null;
}

export function seenWords(desk: Desk, { eye, ahead, open }: Seen): string {
  return say({ t: open ? eye.open : eye.seen, v: [[ahead, "distance"]] }, desk.system);
}

/** Where the hidden part of a frame's road begins; null where all of it is in view. */
export function hiddenFrom(seen: Seen | null, frame: Frame): number | null {
  if (!seen || seen.open || seen.from + seen.ahead >= frame.to) return null;
  return Math.max(seen.from + seen.ahead, frame.from);
}
