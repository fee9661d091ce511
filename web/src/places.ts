// Places on a closed road, and channels read at them.
import type { Lap, Numbers } from "./view";

export function wrap(value: number, around: number): number {
  return ((value % around) + around) % around;
}

/** The same place on the road, counted so that it lies within half a lap of another. */
export function near(place: number, other: number, length: number): number {
  return other + wrap(place - other + length / 2, length) - length / 2;
}

/** A periodic channel at a place, between its samples. */
export function at(channel: Numbers, place: number, step: number): number {
  const count = channel.length;
  const position = wrap(place / step, count);
  const i = Math.floor(position);
  const a = channel[i % count]!;
  return a + (channel[(i + 1) % count]! - a) * (position - i);
}

/** Seconds since the line was crossed, going on over the line into the laps beside. */
export function timeAt(lap: Lap, place: number, step: number): number {
  const count = lap.time.length - 1;
  const laps = Math.floor(place / step / count);
  const position = place / step - laps * count;
  const i = Math.min(Math.floor(position), count - 1);
  const a = lap.time[i]!;
  return laps * lap.time[count]! + a + (lap.time[i + 1]! - a) * (position - i);
}

/** The place that a lap has come to after so many seconds; null before it begins and after it has ended. */
export function placeAt(lap: Lap, seconds: number, step: number): number | null {
  const count = lap.time.length - 1;
  if (!(seconds >= lap.time[0]! && seconds <= lap.time[count]!)) return null;
  let [low, high] = [0, count];
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (lap.time[middle]! <= seconds) low = middle;
    else high = middle;
  }
  const [a, b] = [lap.time[low]!, lap.time[high]!];
  return step * (low + (b > a ? (seconds - a) / (b - a) : 0));
}

/** Places where one more step of time was lost (+1) or won back (-1). */
export function timeTicks(
  lost: (place: number) => number,
  from: number,
  to: number,
  step: number,
  worth: number,
): { place: number; sign: 1 | -1 }[] {
  const start = lost(from);
  const ticks: { place: number; sign: 1 | -1 }[] = [];
  let level = 0;
  for (let place = from; place <= to; place += step) {
    const steps = (lost(place) - start) / worth;
    while (steps >= level + 1) level += ticks.push({ place, sign: 1 }) && 1;
    while (steps <= level - 1) level -= ticks.push({ place, sign: -1 }) && 1;
  }
  return ticks;
}

/** Round numbers within a range, about so many. */
export function niceTicks(low: number, high: number, about: number): number[] {
  const raw = (high - low) / about;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * power).find((v) => v >= 0.8 * raw)!;
  const ticks: number[] = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high + step * 1e-9; i++) ticks.push(i * step);
  return ticks;
}

/** The longest round length that is no longer than asked. */
export function roundDown(length: number): number {
  const power = 10 ** Math.floor(Math.log10(length));
  return power * ([5, 2, 1].find((m) => m * power <= length) ?? 1);
}

/** The lowest and highest number of several lists, gaps left out. */
export function extent(lists: Iterable<Numbers>): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (const list of lists) {
    for (let i = 0; i < list.length; i++) {
      const v = list[i]!;
      if (v < low) low = v;
      if (v > high) high = v;
    }
  }
  return [low, high];
}
