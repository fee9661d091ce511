// Labels that never lie on each other, whatever stands where.

export interface Box {
  x: number;
  y: number;
  w: number;
  h: number;
}

export function overlap(a: Box, b: Box): boolean {
  return a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
}

let pen: CanvasRenderingContext2D | null = null;
let family = "";

/** Width of a text as the page sets it. */
export function textWidth(text: string, size: number, weight = 400): number {
  pen ??= document.createElement("canvas").getContext("2d");
  if (!pen) return text.length * size * 0.6;
  family ||= getComputedStyle(document.body).fontFamily;
  pen.font = `${weight} ${size}px ${family}`;
  return pen.measureText(text).width;
}

/** Break a text into lines no wider than asked: at its spaces, and within a word that is too long. */
export function breakLines(text: string, size: number, weight: number, widest: number): string[] {
  const lines: string[] = [];
  for (const word of text.split(" ").flatMap((w) => breakWord(w, size, weight, widest))) {
    const longer = lines.length ? `${lines[lines.length - 1]} ${word}` : word;
    if (lines.length && textWidth(longer, size, weight) <= widest) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  if (lines.length <= MOST_LINES) return lines;
  return [...lines.slice(0, MOST_LINES - 1), `${lines[MOST_LINES - 1]!.slice(0, -1)}…`];
}

const MOST_LINES = 3;

function breakWord(word: string, size: number, weight: number, widest: number): string[] {
  const pieces: string[] = [];
  let rest = word;
  while (rest.length > 1 && textWidth(rest, size, weight) > widest) {
    let cut = rest.length - 1;
    while (cut > 1 && textWidth(rest.slice(0, cut), size, weight) > widest) cut--;
    pieces.push(rest.slice(0, cut));
    rest = rest.slice(cut);
  }
  return [...pieces, rest];
}

export type Side = "above" | "below";
export type Reach = "right" | "left";

export interface Placed {
  side: Side;
  reach: Reach;
  row: number;
}

interface Flag {
  x: number;
  width: number;
  /** The side on which it would rather stand. */
  wants?: Side | null;
}

const GAP = 10;

/**
 * Rows for flags on one side of the road, all reaching the same way from their pole.
 *
 * A flag takes the nearest row in which its cloth touches no other cloth and no other
 * pole. Going against the reach, the row above all others is always free, so every
 * set of flags has a place.
 */
function rowsFor(flags: readonly Flag[], members: readonly number[], reach: Reach): number[] {
  const sign = reach === "right" ? 1 : -1;
  const order = [...members].sort((a, b) => sign * (flags[b]!.x - flags[a]!.x));
  const rows: number[] = [];
  const done: { from: number; to: number; pole: number; row: number }[] = [];
  for (const index of order) {
    const { x, width } = flags[index]!;
    const [from, to] = sign > 0 ? [x, x + width + GAP] : [x - width - GAP, x];
    const meets = (row: number) =>
      done.some(
        (d) =>
          (d.row === row && from < d.to && d.from < to) || (d.row > row && d.pole > from - 3 && d.pole < to + 3),
      );
    let row = 0;
    while (meets(row)) row++;
    done.push({ from, to, pole: x, row });
    rows[index] = row;
  }
  return rows;
}

interface SidePlan {
  cost: number;
  reach: Reach;
  rows: number[];
}

/** The calmer of both reaches for the flags of one side; without room its cost is infinite. */
function planSide(flags: readonly Flag[], members: readonly number[], left: number, right: number): SidePlan {
  if (!members.length) return { cost: 0, reach: "right", rows: [] };
  let best: SidePlan = { cost: Infinity, reach: "right", rows: [] };
  for (const reach of ["right", "left"] as const) {
    const fits = members.every((i) => {
      const { x, width } = flags[i]!;
      return reach === "right" ? x + width <= right : x - width >= left;
    });
    if (!fits) continue;
    const rows = rowsFor(flags, members, reach);
    const height = 1 + Math.max(...members.map((i) => rows[i]!));
    const cost = height * height + (reach === "left" ? 0.4 : 0) + crowding(flags, members);
    if (cost < best.cost) best = { cost, reach, rows };
  }
  return best;
}

const MOST_TRIED = 10;

/**
 * Divide the flags above and below the road so that they stand low and apart.
 *
 * Few flags: every division is tried. Many: one flag after another changes sides while that
 * helps. A flag no wider than half the room fits one reach or the other, so with all that
 * fit to the right above and the others below there is always a beginning.
 */
export function placeFlags(flags: readonly Flag[], left: number, right: number): Placed[] {
  const known = new Map<string, SidePlan>();
  const side = (members: number[]): SidePlan => {
    const key = members.join();
    let plan = known.get(key);
    if (!plan) known.set(key, (plan = planSide(flags, members, left, right)));
    return plan;
  };
  const every = flags.map((_, i) => i);
  const plansOf = (below: boolean[]) =>
    [side(every.filter((i) => !below[i])), side(every.filter((i) => below[i]))] as const;
  const costOf = (below: boolean[]) => {
    const [a, b] = plansOf(below);
    const unwanted = flags.filter((flag, i) => flag.wants && (flag.wants === "below") !== below[i]).length;
    return a.cost + b.cost + 0.6 * unwanted + (below.filter(Boolean).length * 2 > flags.length ? 0.3 : 0);
  };
  let best = flags.map((flag) => flag.x + flag.width > right);
  let lowest = costOf(best);
  const offer = (below: boolean[]) => {
    const cost = costOf(below);
    if (cost < lowest) [lowest, best] = [cost, below];
    return lowest === cost && best === below;
  };
  if (flags.length <= MOST_TRIED) {
    for (let mask = 0; mask < 1 << flags.length; mask++) offer(every.map((i) => Boolean((mask >> i) & 1)));
  } else {
    while (every.some((i) => offer(best.map((b, k) => (k === i ? !b : b)))));
  }
  const [above, below] = plansOf(best);
  return every.map((i) => {
    const plan = best[i] ? below : above;
    return { side: best[i] ? "below" : "above", reach: plan.reach, row: plan.rows[i] ?? 0 };
  });
}

function crowding(flags: readonly Flag[], members: readonly number[]): number {
  let cost = 0;
  for (const a of members) {
    for (const b of members) if (a < b && Math.abs(flags[a]!.x - flags[b]!.x) < 14) cost += 0.8;
  }
  return cost;
}

/** Levels for bars along a line so that none touches another. */
export function stackLevels(spans: readonly [number, number][]): number[] {
  const ends: number[] = [];
  const order = spans.map((_, i) => i).sort((a, b) => spans[a]![0] - spans[b]![0]);
  const levels: number[] = [];
  for (const i of order) {
    let level = ends.findIndex((end) => end < spans[i]![0] - 4);
    if (level < 0) level = ends.push(0) - 1;
    ends[level] = spans[i]![1];
    levels[i] = level;
  }
  return levels;
}
