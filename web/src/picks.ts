// Which cause of which corner is picked out: the pictures mark where it happened.
import { useEffect, useState } from "preact/hooks";
import { moveCursor } from "./desk";
import type { LedgerRow } from "./view";

export interface Pick {
  corner: string;
  row: LedgerRow;
}

type Listener = (pick: Pick | null) => void;
const listeners = new Set<Listener>();
let picked: Pick | null = null;

/** Pick a cause out, or let it go again; the cursor moves to where it happened. */
export function pick(next: Pick | null, length: number): void {
  picked = next;
  for (const listen of listeners) listen(next);
  const { from_m: from, to_m: to } = next?.row ?? { from_m: null, to_m: null };
  if (from !== null && to !== null) moveCursor(from + ((((to - from) % length) + length) % length) / 2);
}

/** Where the road of a corner's picture is not in sight, bring it there. */
export function bringRoad(corner: string): void {
  const picture = document.getElementById(`corner-${corner}`)?.querySelector(".picture");
  const road = picture?.querySelector(".ribbon .road")?.getBoundingClientRect();
  if (road && (road.bottom > innerHeight || road.top < 0)) picture?.scrollIntoView();
}

/** What is picked out in one corner; only that corner's pictures are drawn again. */
export function usePicked(corner: string): LedgerRow | null {
  const of = (now: Pick | null) => (now?.corner === corner ? now.row : null);
  const [row, setRow] = useState(() => of(picked));
  useEffect(() => {
    const listen: Listener = (now) => setRow(of(now));
    listen(picked);
    listeners.add(listen);
    return () => {
      listeners.delete(listen);
    };
  }, [corner]);
  return row;
}
