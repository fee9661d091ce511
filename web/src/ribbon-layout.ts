// Where everything of the road ribbon lies: road, rails, flags.
import type { Desk } from "./desk";
import { NOTE, TITLE, type Flag } from "./flags";
import { samples, type Frame } from "./frame";
import { stackLevels } from "./labels";
import { near, wrap } from "./places";
import type { Span } from "./view";
import { hasTeeth, TOOTH } from "./worth";

export interface RibbonLayout {
  frame: Frame;
  flags: Flag[];
  list: number[];
  /** Pixels: the road's band, and on each side the rails of spreads and where the flags begin. */
  roadTop: number;
  roadBottom: number;
  above: SideLayout;
  below: SideLayout;
  height: number;
  /** Screen height of an offset to the left of the reference line. */
  y: (n: number) => number;
  magnified: number;
}

interface SideLayout {
  /** Room for the comb and for marks of things beside the road. */
  marks: number;
  /** Level of each action's rail, by its key. */
  levels: Map<string, number>;
  rails: number;
  row: number;
  depth: number;
}

const LEVEL = 9;
const MARK = 16;
const MARGIN = 12;

function layoutSide(all: Flag[], frame: Frame, side: "above" | "below", comb: number): SideLayout {
  const flags = all.filter((flag) => flag.side === side);
  const railed = flags.filter((flag) => flag.median !== null);
  const levels = stackLevels(railed.map((flag) => railSpan(flag, frame)));
  const isMark = (f: Flag) => f.key.startsWith("landmark") && f.off !== null && f.off > 0 === (side === "above");
  const marks = comb + (all.some(isMark) ? MARK : 0);
  const rails = railed.length ? (Math.max(...levels) + 1) * LEVEL + 6 : 0;
  const lines = flags.map((f) => f.lines.length * (TITLE + 3) + f.notes.length * (NOTE + 3));
  const row = Math.max(0, ...lines) + (frame.paper ? 4 : 9);
  const rows = 1 + Math.max(-1, ...flags.map((flag) => flag.row));
  return {
    marks,
    levels: new Map(railed.map((flag, i) => [flag.key, levels[i]!])),
    rails,
    row,
    depth: marks + rails + rows * row + (frame.paper ? MARGIN / 2 : MARGIN),
  };
}

function railSpan(flag: Flag, frame: Frame): [number, number] {
  const usual = flag.median ?? flag.place;
  const spread = flag.spread ?? 0;
  const xs = [flag.place, usual - spread, usual + spread, ...flag.laps].map(frame.x);
  return [Math.min(...xs), Math.max(...xs)];
}

export function layoutRibbon(desk: Desk, frame: Frame, flags: Flag[], top: number): RibbonLayout {
  const { road, points, spans } = desk.view.pictures;
  const list = samples(frame);
  const here = spans.filter((span) => inFrame(frame, span));
  const left = Math.max(...list.map((i) => road.left[wrap(i, points)]!), ...here.map((s) => s.left_m));
  const right = Math.max(...list.map((i) => road.right[wrap(i, points)]!), ...here.map((s) => -s.right_m));
  const above = layoutSide(flags, frame, "above", hasTeeth(frame, list, "left") ? TOOTH : 0);
  const below = layoutSide(flags, frame, "below", hasTeeth(frame, list, "right") ? TOOTH : 0);
  const height = frame.paper ? 88 : frame.narrow ? 124 : 168;
  const perMetre = height / (left + right);
  const roadTop = top + above.depth;
  return {
    frame,
    flags,
    list,
    roadTop,
    roadBottom: roadTop + height,
    above,
    below,
    height: above.depth + height + below.depth,
    y: (n) => roadTop + (left - n) * perMetre,
    magnified: (perMetre * (frame.to - frame.from)) / (frame.right - frame.left),
  };
}

export function inFrame(frame: Frame, span: Span): boolean {
  const [from, to] = spanPlaces(frame, span);
  return to > frame.from && from < frame.to;
}

export function spanPlaces(frame: Frame, span: Span): [number, number] {
  const length = frame.view.pictures.step_m * frame.view.pictures.points;
  const long = wrap(span.end_m - span.start_m, length);
  const middle = near(span.start_m + long / 2, (frame.from + frame.to) / 2, length);
  return [middle - long / 2, middle + long / 2];
}

/** Middle of a rail. */
export function railY(layout: RibbonLayout, side: "above" | "below", level: number): number {
  const away = layout[side].marks + 9 + level * LEVEL;
  return side === "above" ? layout.roadTop - away : layout.roadBottom + away;
}

/** Where the words of a flag begin. */
export function wordsTop(layout: RibbonLayout, flag: Flag, tall: number): number {
  const { marks, rails, row } = layout[flag.side];
  const away = marks + rails + 4;
  if (flag.side === "above") return layout.roadTop - away - flag.row * row - tall;
  return layout.roadBottom + away + flag.row * row;
}
