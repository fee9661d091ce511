// Thin strips under the ribbon, on its distance axis: how the road bends, and what the car does.
import { lapName, lapOf, type Desk } from "./desk";
import { bandOf, bandPath, rangeIn, tracePath, type Frame } from "./frame";
import { textWidth } from "./labels";
import { extent, niceTicks, wrap } from "./places";
import { bare, ruleOf, write } from "./sentences";
import type { ChannelName, Lap, Numbers } from "./view";

export interface Strip {
  key: string;
  title: string;
  /** What is lacking when the channel is. */
  lacks: string;
  quantity: string;
  channel: ChannelName | null;
  /** Screen places. */
  top: number;
  bottom: number;
  y: (value: number) => number;
  ticks: number[];
  /** Why there is nothing to draw, or null. */
  lacking: string | null;
}

interface Kind {
  key: string;
  title: string;
  lacks: string;
  quantity: string;
  channel: ChannelName;
  /** Heights; one without a height for paper does not stand there. */
  tall: { wide: number; narrow: number; paper: number | null };
  /** All speeds, all speeds down to zero, the session's, or 0 to 1. */
  range: "frame" | "zero" | "session" | "share";
}

const KINDS: Kind[] = [
  { key: "speed", title: "speed", lacks: "speed", quantity: "speed", channel: "speed", tall: { wide: 112, narrow: 92, paper: 64 }, range: "frame" },
  { key: "throttle", title: "throttle", lacks: "throttle", quantity: "share", channel: "throttle", tall: { wide: 44, narrow: 38, paper: 22 }, range: "share" },
  {
    key: "forward",
    title: "gains speed ↑ slows ↓",
    lacks: "acceleration",
    quantity: "acceleration",
    channel: "acceleration_forward",
    tall: { wide: 78, narrow: 64, paper: null },
    range: "session",
  },
  { key: "steering", title: "steering left ↑ right ↓", lacks: "steering", quantity: "angle", channel: "steering", tall: { wide: 56, narrow: 48, paper: 30 }, range: "zero" },
];

/** Steering below this is drawn small, so that holding straight looks straight, rad. */
const LEAST_STEER = 0.06;
const BEND = { wide: 46, narrow: 40 };
const TITLE_ROW = 16;
const LACKING = 22;

export function usedLaps(desk: Desk): Lap[] {
  return desk.view.guide.laps
    .filter((row) => row.used)
    .map((row) => desk.view.pictures.laps[row.id])
    .filter((lap): lap is Lap => lap !== undefined);
}

function channelsOf(desk: Desk, channel: ChannelName): Numbers[] {
  return usedLaps(desk)
    .map((lap) => lap[channel])
    .filter((list): list is Numbers => list !== null && list !== undefined);
}

function sizeOf(frame: Frame): "wide" | "narrow" | "paper" {
  return frame.paper ? "paper" : frame.narrow ? "narrow" : "wide";
}

/** Stack the strips from a height down; each has its own scale. */
export function layoutStrips(desk: Desk, frame: Frame, list: number[], top: number): Strip[] {
  const strips: Strip[] = [];
  let y = top;
  const add = (strip: Omit<Strip, "top" | "bottom" | "y">, height: number, range: [number, number]) => {
    const from = y + TITLE_ROW + (frame.narrow ? 6 : 0);
    const to = from + (strip.lacking ? LACKING : height);
    const [low, high] = range;
    strips.push({ ...strip, top: from, bottom: to, y: (v) => to - ((v - low) / (high - low)) * (to - from) });
    y = to + 8;
  };
  // On paper the corner from above, large beside the words, shows how the road bends.
  const bent = rangeIn(list, [desk.view.pictures.road.curvature], desk.view.pictures.points);
  if (!frame.paper) add(
    { key: "bend", title: "the road bends left ↑ right ↓", lacks: "curvature", quantity: "distance", channel: null, ticks: [], lacking: null },
    frame.narrow ? BEND.narrow : BEND.wide,
    [Math.min(bent[0], -1 / 150) * 1.05, Math.max(bent[1], 1 / 150) * 1.05],
  );
  for (const kind of KINDS) {
    const channels = channelsOf(desk, kind.channel);
    const height = kind.tall[sizeOf(frame)];
    if (height === null) continue;
    const lacking = channels.length ? null : `Not in this recording: ${kind.lacks}.`;
    const { possible } = desk.view.pictures;
    if (!lacking && kind.channel === "speed" && possible) channels.push(possible.speed);
    const range = lacking ? ([0, 1] as [number, number]) : rangeOf(desk, kind, channels, list);
    const ticks = lacking ? [] : ticksOf(desk, kind, range, height);
    add({ ...kind, ticks, lacking }, height, range);
  }
  return strips;
}

function rangeOf(desk: Desk, kind: Kind, channels: Numbers[], list: number[]): [number, number] {
  if (kind.range === "share") return [-0.02, 1.02];
  if (kind.range === "frame") {
    const [low, high] = rangeIn(list, channels, desk.view.pictures.points);
    const room = 0.06 * (high - low) + 0.5;
    return [Math.max(0, low - room), high + room];
  }
  const [low, high] = sessionRange(desk, kind.channel, channels);
  if (kind.range === "session") return [Math.min(low, -1) * 1.03, Math.max(high, 1) * 1.03];
  const [least, most] = rangeIn(list, channels, desk.view.pictures.points);
  return [Math.min(least, -LEAST_STEER) * 1.05, Math.max(most, LEAST_STEER) * 1.05];
}

const ranges = new WeakMap<object, Map<string, [number, number]>>();

function sessionRange(desk: Desk, channel: string, channels: Numbers[]): [number, number] {
  let known = ranges.get(desk.view);
  if (!known) ranges.set(desk.view, (known = new Map()));
  let range = known.get(channel);
  if (!range) known.set(channel, (range = extent(channels)));
  return range;
}

function ticksOf(desk: Desk, kind: Kind, [low, high]: [number, number], height: number): number[] {
  const { factor } = ruleOf(kind.quantity, desk.system);
  if (kind.range === "share") return [0, 1];
  return niceTicks(low * factor, high * factor, height / 26).map((v) => v / factor);
}

export function StripPicture({ desk, frame, list, strip }: StripProps) {
  const { unit } = ruleOf(strip.quantity, desk.system);
  const title = strip.channel && unit ? `${strip.title}, ${unit}` : strip.title;
  return (
    <g class="strip" data-strip={strip.key}>
      <text class="striptitle" x={frame.narrow ? 0 : frame.left} y={strip.top - (frame.narrow ? 11 : 5)}>
        {title}
      </text>
      {strip.lacking ? (
        <Lacking frame={frame} strip={strip} />
      ) : (
        <>
          <Axis desk={desk} frame={frame} strip={strip} />
          {strip.channel ? (
            <Traces desk={desk} frame={frame} list={list} strip={strip} />
          ) : (
            <Bend desk={desk} frame={frame} list={list} strip={strip} />
          )}
        </>
      )}
    </g>
  );
}

interface StripProps {
  desk: Desk;
  frame: Frame;
  list: number[];
  strip: Strip;
}

function Lacking({ frame, strip }: { frame: Frame; strip: Strip }) {
  return (
    <g>
      <rect class="lacking" x={frame.left} y={strip.top} width={frame.right - frame.left} height={strip.bottom - strip.top} />
      <text class="note" x={frame.left + 8} y={strip.bottom - 7}>
        {strip.lacking}
      </text>
    </g>
  );
}

function Axis({ desk, frame, strip }: { desk: Desk; frame: Frame; strip: Strip }) {
  const x = frame.left - (frame.narrow ? 5 : 8);
  return (
    <g>
      {strip.ticks.map((v) => (
        <g key={v}>
          <path class={v === 0 ? "grid zero" : "grid"} d={`M${frame.left} ${strip.y(v).toFixed(1)}H${frame.right}`} />
          <text class="axis" x={x} y={strip.y(v) + 4} text-anchor="end">
            {bare(v, strip.quantity, desk.system, strip.quantity === "acceleration" ? 0 : undefined)}
          </text>
        </g>
      ))}
    </g>
  );
}

function Traces({ desk, frame, list, strip }: StripProps) {
  const count = desk.view.pictures.points;
  const channels = channelsOf(desk, strip.channel!);
  const band = bandOf(channels, list, count);
  const shown = lapOf(desk, desk.shown)?.[strip.channel!] ?? null;
  const against = lapOf(desk, desk.against)?.[strip.channel!] ?? null;
  const possible = strip.channel === "speed" ? desk.view.pictures.possible : null;
  return (
    <g>
      <path class="band" d={bandPath(frame, list, band.low, band.high, strip.y)} />
      {possible && <path class="lap possible" d={tracePath(frame, list, possible.speed, strip.y)} />}
      {against && <path class="lap against" d={tracePath(frame, list, against, strip.y)} />}
      {shown && <path class="lap this" d={tracePath(frame, list, shown, strip.y)} />}
      {!shown && (
        <text class="note halo" x={frame.left + 8} y={(strip.top + strip.bottom) / 2 + 4}>
          {`${lapName(desk.view, desk.shown)} has no ${strip.lacks}`}
        </text>
      )}
    </g>
  );
}

function Bend({ desk, frame, list, strip }: StripProps) {
  const { curvature } = desk.view.pictures.road;
  const zero = strip.y(0);
  const line = tracePath(frame, list, curvature, strip.y);
  const step = desk.view.pictures.step_m;
  const [a, b] = [list[0]!, list[list.length - 1]!].map((i) => frame.left + (i * step - frame.from) * scaleOf(frame));
  return (
    <g>
      <path class="bend" d={`${line}L${b} ${zero}L${a} ${zero}Z`} />
      <path class="grid zero" d={`M${frame.left} ${zero}H${frame.right}`} />
      {radii(desk, frame, list, strip).map((label) => (
        <text key={label.x} class="note halo radius" x={label.x} y={label.y} text-anchor="middle">
          {label.text}
        </text>
      ))}
    </g>
  );
}

function scaleOf(frame: Frame): number {
  return (frame.right - frame.left) / (frame.to - frame.from);
}

/** Whether the road stays about as bent from one place to another: then one radius says it. */
function oneBend(k: number[], a: number, b: number): boolean {
  const least = OPENS * Math.abs(k[a]!);
  const sign = Math.sign(k[a]!);
  return k.slice(Math.min(a, b), Math.max(a, b) + 1).every((v) => v * sign >= least);
}

/** The road opens where it is bent less than this share of its tightest. */
const OPENS = 0.75;

/** The radius at each tightest place, where there is room to write it. */
function radii(desk: Desk, frame: Frame, list: number[], strip: Strip): { x: number; y: number; text: string }[] {
  const { curvature } = desk.view.pictures.road;
  const step = desk.view.pictures.step_m;
  const k = list.map((i) => curvature[wrap(i, curvature.length)]!);
  const peaks = k
    .map((v, j) => ({ v, j }))
    .filter(({ v, j }) => {
      const size = Math.abs(v);
      return size > 1 / 400 && size >= Math.abs(k[j - 1] ?? Infinity) && size > Math.abs(k[j + 1] ?? Infinity);
    })
    .sort((a, b) => Math.abs(b.v) - Math.abs(a.v))
    .filter((peak, rank, all) => !all.slice(0, rank).some((tighter) => oneBend(k, peak.j, tighter.j)));
  const titleEnd = (frame.narrow ? 0 : frame.left) + textWidth(strip.title, 12, 600);
  const kept: { x: number; y: number; text: string; from: number; to: number }[] = [];
  for (const { v, j } of peaks) {
    const text = `radius ${write(1 / Math.abs(v), "distance", desk.system)}`;
    const half = textWidth(text, 12) / 2 + 6;
    const x = Math.min(Math.max(frame.left + (list[j]! * step - frame.from) * scaleOf(frame), frame.left + half), frame.right - half);
    if (v < 0 && strip.y(0) - strip.top < TITLE_ROW && x - half < titleEnd) continue;
    if (kept.some((other) => x - half < other.to && other.from < x + half)) continue;
    kept.push({ x, y: v > 0 ? strip.y(0) + 15 : strip.y(0) - 6, text, from: x - half, to: x + half });
  }
  return kept;
}
