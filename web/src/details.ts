// What is told under the road, a line each: what is in view, what actions repeat with, kerbs, edges, room.
import { fromApex, lapName, lengthOf, type Desk } from "./desk";
import { NOTE } from "./flags";
import type { Frame } from "./frame";
import { breakLines, textWidth } from "./labels";
import { near } from "./places";
import { hiddenFrom, seenIn, seenWords } from "./sight";
import { say, write } from "./sentences";
import type { Breach, ReferenceMark, Room, RoadPart } from "./view";
import { stretchIn } from "./worth";

export type Glyph = "seen" | "place" | "state" | "alignment" | "view" | "chosen" | "kerb" | "over" | "overperhaps" | "room" | "left";

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

/** Everything that is told under one corner's road, in the order of its lines. */
export function listDetails(desk: Desk, frame: Frame): Detail[] {
  return [...seen(desk, frame), ...references(desk, frame), ...edges(desk, frame), ...room(desk, frame)];
}

function seen(desk: Desk, frame: Frame): Detail[] {
  const what = seenIn(desk, frame);
  if (!what) return [];
  const hidden = hiddenFrom(what, frame);
  const apex = desk.view.guide.corners.find((c) => c.id === frame.corner.id)?.sight?.apex_seen_from_m;
  const from = apex == null ? null : near(apex, frame.corner.apex_m, lengthOf(desk.view));
  const rows: Detail[] = [{ group: "in view", glyph: "seen", from: what.from, to: Math.min(what.from + what.ahead, frame.to), hidden, text: seenWords(desk, what) }];
  if (from !== null && from > Math.max(what.from, frame.from) && from < frame.to) {
    rows.push({ group: "in view", glyph: "view", from, to: from, text: "the apex comes into view" });
  }
  return rows;
}

/** The author's references before the computed ones, one for each action. */
function references(desk: Desk, frame: Frame): Detail[] {
  const { view } = desk;
  const { corner } = frame;
  const tables = view.words.corners[corner.id]?.reference_tables ?? [];
  const label = (action: string) => tables.find((t) => t.action === action)?.label ?? view.words.actions[action]?.label ?? action;
  const chosen = (corner.chosen_references ?? []).flatMap(({ action, reference }) => {
    const place = corner.actions[action]?.median;
    return place == null ? [] : [{ action, at_m: place, glyph: "chosen" as Glyph, text: `${label(action)}: ${reference}, the author's choice` }];
  });
  const computed = (view.pictures.references ?? [])
    .filter((mark) => mark.corner === corner.id && !chosen.some((one) => one.action === mark.action))
    .map((mark) => ({ action: mark.action, at_m: mark.at_m, glyph: mark.kind as Glyph, text: `${label(mark.action)}: ${say(mark.text, desk.system)}` }));
  return [...chosen, ...computed]
    .map(({ at_m, glyph, text }) => ({ group: "repeats with", glyph, from: near(at_m, corner.apex_m, lengthOf(view)), text }))
    .filter(({ from }) => from > frame.from && from < frame.to)
    .sort((a, b) => a.from - b.from)
    .map((one) => ({ ...one, to: one.from }));
}

/** Marks of line-ups of landmarks that a corner's actions are taken on. */
export function lineUps(desk: Desk, frame: Frame): ReferenceMark[] {
  return (desk.view.pictures.references ?? []).filter((mark) => mark.corner === frame.corner.id && mark.kind === "alignment");
}

function edges(desk: Desk, frame: Frame): Detail[] {
  return [...roadLeft(desk, frame), ...breachesIn(desk, frame).map((one) => breach(desk, frame, one)), ...kerbs(desk, frame)];
}

const PARTS: RoadPart[] = ["entry", "apex", "exit"];

function roadLeft(desk: Desk, frame: Frame): Detail[] {
  const use = frame.corner.road_use;
  const said = PARTS.flatMap((part) => {
    const one = use?.[part];
    if (!one) return [];
    return [`${part} ${write(one.left_m, "offset", desk.system)}${one.verdict && one.verdict !== "used" ? ` (${one.verdict})` : ""}`];
  });
  if (!said.length) return [];
  return [{ group: "edges", glyph: "left", from: null, to: null, text: `road left: ${said.join(" · ")}` }];
}

function kerbs(desk: Desk, frame: Frame): Detail[] {
  return (frame.corner.kerbs ?? []).flatMap(({ name, uses }) => {
    const span = desk.view.pictures.spans.find((s) => s.name === name);
    const use = uses.find((one) => one.lap === desk.shown);
    if (!span || !use) return [];
    const [from, to] = stretchIn(frame, span.start_m, span.end_m);
    if (to <= frame.from || from >= frame.to) return [];
    const on = uses.filter((one) => one.wheels.length > 0).length;
    const laps = `${on} of ${uses.length} laps on it`;
    const text = use.wheels.length
      ? `${name}: ${use.wheels.join(" and ")}, ${write(use.depth_m, "offset", desk.system)} deep, for ${write(use.length_m, "distance", desk.system)}; ${laps}`
      : `${name}: no wheel on it; ${laps}`;
    return [{ group: "kerbs", glyph: "kerb" as const, from, to, text, wheels: use.wheels }];
  });
}

/** Where the lap that the pictures follow was past the bound, within a frame. */
export function breachesIn(desk: Desk, frame: Frame): Breach[] {
  const limits = desk.view.guide.laps.find((lap) => lap.id === desk.shown)?.track_limits;
  return (limits?.breaches ?? []).filter((one) => {
    const [from, to] = stretchIn(frame, one.start_m, one.end_m);
    return to > frame.from && from < frame.to;
  });
}

function breach(desk: Desk, frame: Frame, { side, start_m, end_m, by_m, duration_s, sure }: Breach): Detail {
  const [from, to] = stretchIn(frame, start_m, end_m);
  const much = `${write(by_m, "offset", desk.system)} for ${write(duration_s, "time", desk.system, 1)}`;
  const text = `${lapName(desk.view, desk.shown)} ${sure ? "past" : "perhaps past"} the bound on the ${side}, by ${much}`;
  return { group: "edges", glyph: sure ? "over" : "overperhaps", from, to, text };
}

/** Of each change that asks for more, the worst miss that was worked out. */
function room(desk: Desk, frame: Frame): Detail[] {
  const worst = new Map<string, Room>();
  for (const one of frame.corner.room ?? []) {
    if (one.missed_by_m > (worst.get(one.action)?.missed_by_m ?? 0)) worst.set(one.action, one);
  }
  return [...worst.values()].flatMap((one) => {
    const text = roomWords(desk, one);
    const place = one.edge_m ?? (desk.view.words.actions[one.action]?.is_place ? one.today : frame.corner.apex_m);
    const from = frame.corner.apex_m + fromApex(desk.view, frame.corner, place);
    const inside = from > frame.from && from < frame.to;
    return text ? [{ group: "room", glyph: "room" as const, from: inside ? from : null, to: inside ? from : null, text }] : [];
  });
}

const CHANGES: Record<Room["change"], string> = { later: "braking later", faster: "a higher lowest speed", flat: "staying flat" };

function roomWords(desk: Desk, one: Room): string {
  const { system } = desk;
  const label = desk.view.words.actions[one.action]?.label;
  const change = one.change === "later" && one.action !== "brake_start_m" && label ? `${label} later` : CHANGES[one.change];
  const missed = `${change}, missed by ${write(one.missed_by_m, "distance", system)}: `;
  if (one.road_left_m !== null) return `${missed}stays on the road, ${write(one.road_left_m, "offset", system)} left`;
  if (one.speed_at_edge_mps === null) return "";
  const edge = `over the edge${one.side ? ` on the ${one.side}` : ""} at up to ${write(one.speed_at_edge_mps, "speed", system)}`;
  const far = one.runoff_m === null ? "" : `, run-off ${one.runoff_m < 0 ? "too short by" : "left"} ${write(Math.abs(one.runoff_m), "distance", system)}`;
  return missed + edge + far;
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
