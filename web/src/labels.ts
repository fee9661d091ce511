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

/** Width of a text as the page sets it. */
export function textWidth(text: string, size: number, weight = 400): number {
  pen ??= document.createElement("canvas").getContext("2d");
  if (!pen) return text.length * size * 0.6;
  pen.font = `${weight} ${size}px ${getComputedStyle(document.body).fontFamily}`;
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

/** Try every division of the flags above and below the road; keep the lowest and calmest. */
export function placeFlags(flags: readonly Flag[], left: number, right: number): Placed[] {
  let best: Placed[] = [];
  let lowest = Infinity;
  const fits = (i: number, reach: Reach) =>
    reach === "right" ? flags[i]!.x + flags[i]!.width <= right : flags[i]!.x - flags[i]!.width >= left;
  for (let mask = 0; mask < 1 << flags.length; mask++) {
    const groups: [number[], number[]] = [[], []];
    flags.forEach((_, i) => groups[(mask >> i) & 1]!.push(i));
    const placed: Placed[] = [];
    let cost = 0;
    groups.forEach((members, g) => {
      if (!members.length) return;
      const options = (["right", "left"] as const)
        .filter((reach) => members.every((i) => fits(i, reach)))
        .map((reach) => {
          const rows = rowsFor(flags, members, reach);
          const height = 1 + Math.max(...members.map((i) => rows[i]!));
          return { reach, rows, cost: height * height + (reach === "left" ? 0.4 : 0) };
        });
      const option = options.sort((a, b) => a.cost - b.cost)[0];
      if (!option) {
        cost = Infinity;
        return;
      }
      cost += option.cost + crowding(flags, members);
      for (const i of members) {
        placed[i] = { side: g ? "below" : "above", reach: option.reach, row: option.rows[i]! };
      }
    });
    cost += groups[0].length < groups[1].length ? 0.3 : 0;
    if (cost < lowest) [lowest, best] = [cost, placed];
  }
  return best;
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
