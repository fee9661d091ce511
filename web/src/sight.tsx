// What can be seen from the driver's eye: the stretch in view, and the road that is hidden.
import { cornerLap, lengthOf, type Desk } from "./desk";
import type { Frame } from "./frame";
import { at, near } from "./places";
import { write } from "./sentences";
import type { View } from "./view";

export interface Seen {
  /** Place of the eye, and how the driver names it. */
  from: number;
  where: string;
  ahead: number;
  /** Seen as far as was looked: it may be more. */
  open: boolean;
}

/** Metres of road in view from a place; NaN where that is not known. */
export function aheadAt(view: View, place: number): number {
  const { sight, step_m } = view.pictures;
  return sight ? at(sight.ahead_m, place, step_m) : NaN;
}

const EYES: [action: string, where: string][] = [
  ["brake_start_m", "the brake point"],
  ["turn_in_m", "turn-in"],
];

/** The road in view where the corner is prepared: at the brake point, or where it is turned in. */
export function seenIn(desk: Desk, frame: Frame): Seen | null {
  const { corner } = frame;
  const own = cornerLap(desk.view, corner.id, desk.shown);
  const places: [number | null | undefined, string][] = EYES.map(([name, where]) => [own?.actions[name] ?? corner.actions[name]?.median, where]);
  for (const [place, where] of [...places, [corner.start_m, "the corner's start"] as const]) {
    if (place === null || place === undefined) continue;
    const from = near(place, corner.apex_m, lengthOf(desk.view));
    const ahead = aheadAt(desk.view, from);
    if (Number.isNaN(ahead)) continue;
    return { from, where, ahead, open: ahead >= desk.view.pictures.sight!.reach_m - 0.5 };
  }
  return null;
}

export function seenWords(desk: Desk, { where, ahead, open }: Seen): string {
  const far = write(ahead, "distance", desk.system);
  return `${open ? "at least " : ""}${far} of road in view from ${where}`;
}

/** Where the hidden part of a frame's road begins; null where all of it is in view. */
export function hiddenFrom(seen: Seen | null, frame: Frame): number | null {
  if (!seen || seen.open || seen.from + seen.ahead >= frame.to) return null;
  return Math.max(seen.from + seen.ahead, frame.from);
}
