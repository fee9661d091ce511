// What every picture shares: the view, the reader's choices, and the cursor.
import { createContext, options } from "preact";
import { useContext, useEffect, useRef, useState } from "preact/hooks";
import { near } from "./places";
import type { Corner, CornerLap, Lap, UnitSystem, View } from "./view";

export interface Desk {
  view: View;
  system: UnitSystem;
  /** The lap that the pictures follow, and the lap it is held against. */
  shown: string;
  against: string | null;
  /** What the ledger holds it against: a key of the ledger's, or "lap:" and a lap. */
  held: string | null;
  choose: (change: Partial<Choice>) => void;
}

export interface Choice {
  units: string;
  shown: string;
  against: string | null;
  held: string | null;
}

export const DeskContext = createContext<Desk | null>(null);

export function useDesk(): Desk {
  const desk = useContext(DeskContext);
  if (!desk) throw new Error("a picture stands outside the page");
  return desk;
}

export function lapOf(desk: Desk, id: string | null): Lap | null {
  return id === null ? null : (desk.view.pictures.laps[id] ?? null);
}

export function lapName(view: View, id: string | null): string {
  const row = view.guide.laps.find((lap) => lap.id === id);
  return row ? `lap ${row.number}` : `lap ${id}`;
}

const LAP = "lap:";

export function lapKey(lap: string): string {
  return LAP + lap;
}

export function isLapKey(key: string): boolean {
  return key.startsWith(LAP);
}

export function lapIn(key: string): string {
  return key.slice(LAP.length);
}

const rows = new WeakMap<View, Map<string, CornerLap>>();

/** What one lap did in one corner. */
export function cornerLap(view: View, corner: string, lap: string | null): CornerLap | null {
  let table = rows.get(view);
  if (!table) {
    table = new Map(view.guide.corner_laps.map((row) => [`${row.corner}\n${row.lap}`, row]));
    rows.set(view, table);
  }
  return lap === null ? null : (table.get(`${corner}\n${lap}`) ?? null);
}

/** Corners driven as one with this corner, itself included. */
export function complexOf(view: View, corner: Corner): Corner[] {
  if (corner.complex === null || corner.complex === undefined) return [corner];
  return view.guide.corners.filter((other) => other.complex === corner.complex);
}

export function lengthOf(view: View): number {
  return view.pictures.step_m * view.pictures.points;
}

// The cursor moves often; pictures move their own marks and nothing is rendered again.

type Follower = (place: number) => void;
const followers = new Set<Follower>();
let cursorPlace: number | null = null;
let waiting = false;
let led = false;

export function cursor(): number | null {
  return cursorPlace;
}

export function moveCursor(place: number): void {
  cursorPlace = place;
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    if (cursorPlace !== null) for (const follow of followers) follow(cursorPlace);
  });
}

/** While something that plays leads the cursor, it does not go where a pointer merely hovers. */
export function leadCursor(leads: boolean): void {
  led = leads;
}

export function hoverCursor(place: number): void {
  if (!led) moveCursor(place);
}

/** Call a function with the cursor's place whenever it moves. */
export function useCursor(follow: Follower): void {
  const latest = useRef(follow);
  latest.current = follow;
  useEffect(() => {
    const call: Follower = (place) => latest.current(place);
    followers.add(call);
    return () => {
      followers.delete(call);
    };
  }, []);
  useEffect(() => {
    if (cursorPlace !== null) latest.current(cursorPlace);
  });
}

/** Render at once: a browser prints as soon as its announcement has been heard. */
function atOnce(act: () => void): void {
  options.debounceRendering = (render) => render();
  act();
  delete options.debounceRendering;
}

/** Whether the page is being laid out for paper. */
export function usePaper(): boolean {
  const [paper, setPaper] = useState(false);
  useEffect(() => {
    const print = () => atOnce(() => setPaper(true));
    const printed = () => setPaper(false);
    addEventListener("beforeprint", print);
    addEventListener("afterprint", printed);
    return () => {
      removeEventListener("beforeprint", print);
      removeEventListener("afterprint", printed);
    };
  }, []);
  return paper;
}

/** The width of an element, followed as it changes, 0 until it is known; on paper a given one. */
export function useWidth<T extends HTMLElement>(paper?: number): [{ current: T | null }, number] {
  const element = useRef<T>(null);
  const [width, setWidth] = useState(0);
  useEffect(() => {
    const node = element.current;
    if (!node) return;
    const measure = () => setWidth(Math.floor(node.clientWidth));
    measure();
    const watch = new ResizeObserver(measure);
    watch.observe(node);
    const print = () => {
      watch.disconnect();
      if (paper) atOnce(() => setWidth(paper));
    };
    const printed = () => {
      measure();
      watch.observe(node);
    };
    addEventListener("beforeprint", print);
    addEventListener("afterprint", printed);
    return () => {
      watch.disconnect();
      removeEventListener("beforeprint", print);
      removeEventListener("afterprint", printed);
    };
  }, []);
  return [element, width];
}

/** Metres before (−) or after (+) the corner's apex. */
export function fromApex(view: View, corner: Corner, place: number): number {
  return near(place, corner.apex_m, lengthOf(view)) - corner.apex_m;
}
