// What is told under the road, a line each: what is in view, what actions repeat with, kerbs, edges, room.
import { lengthOf, type Desk } from "./desk";
import { NOTE } from "./flags";
import type { Frame } from "./frame";
import { breakLines, textWidth } from "./labels";
import { near } from "./places";
import { hiddenFrom, seenIn, seenWords } from "./sight";
import { say } from "./sentences";
import type { Breach, Glyph, MarkLine, ReferenceMark } from "./view";
import { stretchIn } from "./worth";

export interface Detail {
  group: string;
  glyph: Glyph;
  /** Where its mark stands; null for a line without one. */
  from: number | null;
  to: number | null;
  text: string;
  /** Where the hidden road begins. */
  hidden?: number | null;
  /** Wheels on a kerb. */
  wheels?: string[];
}

export interface PlacedDetail extends Detail {
  /** Middle of its mark, px below the block's top; its words, where they begin, and which way they reach. */
  y: number;
  lines: string[];
  textX: number;
  textY: number;
  anchor: "start" | "end";
}

const ROW = 18;
export const LINE = 15;

/** The groups of lines, in their order. */
const GROUPS = ["in view", "done on", "edges", "kerbs", "room"];

/** Everything that is told under one corner's road, in the order of its lines. */
export function listDetails(desk: Desk, frame: Frame): Detail[] {
  const { corners, bounds } = desk.view.words.marks;
  const lines = [...(corners[frame.corner.id] ?? []), ...bounds].filter(({ laps }) => !laps || laps.includes(desk.shown));
  const list = [...seen(desk, frame), ...lines.flatMap((line) => placeLine(desk, frame, line))];
  const order = (one: Detail) => GROUPS.indexOf(one.group);
  return list.sort((a, b) => order(a) - order(b) || (a.group === "done on" ? (a.from ?? 0) - (b.from ?? 0) : 0));
}

/** A line within the frame; a miss that ends elsewhere keeps its words and has no mark. */
function placeLine(desk: Desk, frame: Frame, { group, glyph, text, from_m, to_m, wheels }: MarkLine): Detail[] {
  const one = { group, glyph, text: say(text, desk.system), ...(wheels && { wheels }) };
  if (from_m === null || to_m === null) return [{ ...one, from: null, to: null }];
  const [from, to] = from_m === to_m ? samePlace(near(from_m, frame.corner.apex_m, lengthOf(desk.view))) : stretchIn(frame, from_m, to_m);
  if (to > frame.from && from < frame.to) return [{ ...one, from, to }];
  return group === "room" ? [{ ...one, from: null, to: null }] : [];
}

function samePlace(place: number): [number, number] {
  return [place, place];
}

function seen(desk: Desk, frame: Frame): Detail[] {
  const what = seenIn(desk, frame);
  if (!what) return [];
  const hidden = hiddenFrom(what, frame);
  const apex = frame.corner.sight?.apex_seen_from_m;
  const from = apex == null ? null : near(apex, frame.corner.apex_m, lengthOf(desk.view));
  const rows: Detail[] = [{ group: "in view", glyph: "seen", from: what.from, to: Math.min(what.from + what.ahead, frame.to), hidden, text: seenWords(desk, what) }];
  if (from !== null && from > Math.max(what.from, frame.from) && from < frame.to) {
    rows.push({ group: "in view", glyph: "view", from, to: from, text: desk.view.words.marks.apex_seen });
  }
  return rows;
}

/** Marks of line-ups of landmarks that a corner's actions are taken on. */
export function lineUps(desk: Desk, frame: Frame): ReferenceMark[] {
  return (desk.view.pictures.references ?? []).filter((mark) => mark.corner === frame.corner.id && mark.kind === "alignment");
}

/** Where the lap that the pictures follow was past the bound, within a frame. */
export function breachesIn(desk: Desk, frame: Frame): Breach[] {
  const limits = desk.view.guide.laps.find((lap) => lap.id === desk.shown)?.track_limits;
  return (limits?.breaches ?? []).filter((one) => {
    const [from, to] = stretchIn(frame, one.start_m, one.end_m);
    return to > frame.from && from < frame.to;
  });
}

/** Whether a kerb's wheels stand before its mark: after it there is no room. */
export function wheelsLeft({ wheels, to }: Detail, frame: Frame): boolean {
  return wheels !== undefined && to !== null && frame.x(Math.min(to, frame.to)) + 24 > frame.right;
}

/** A line for each detail: words beside its mark where they fit, under it where not. */
export function layoutDetails(list: Detail[], frame: Frame): { placed: PlacedDetail[]; height: number } {
  let top = 0;
  const start = frame.narrow ? 2 : frame.left;
  const placed = list.map((detail): PlacedDetail => {
    const wide = textWidth(detail.text, NOTE) + 4;
    const flip = wheelsLeft(detail, frame);
    const left = detail.from === null ? start : frame.x(Math.max(detail.from, frame.from)) - (flip ? 30 : 9);
    const end = detail.hidden != null ? frame.to : Math.min(Math.max(detail.to ?? frame.from, frame.from), frame.to);
    const right = detail.to === null ? start : frame.x(end) + (detail.wheels && !flip ? 30 : 9);
    const y = top + ROW / 2;
    const one = (lines: string[], textX: number, textY: number, anchor: "start" | "end") => ({ ...detail, y, lines, textX, textY, anchor });
    top += ROW;
    if (right + wide <= frame.right) return one([detail.text], right, y + 4, "start");
    if (detail.from !== null && left - wide >= start) return one([detail.text], left, y + 4, "end");
    const lines = breakLines(detail.text, NOTE, 400, frame.right - start);
    const textY = detail.from === null ? y + 4 : y + ROW / 2 + 10;
    top += detail.from === null ? (lines.length - 1) * LINE : lines.length * LINE + 2;
    return one(lines, start, textY, "start");
  });
  return { placed, height: list.length ? top + 12 : 0 };
}
