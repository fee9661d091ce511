// Bars of the ledger: loss to the right of zero, gain to the left and hatched, hollow what the data cannot show.
import { causeLabel } from "./account";
import type { Desk } from "./desk";
import type { LedgerRow } from "./view";

export interface BarScale {
  width: number;
  zero: number;
  /** Pixels a second. */
  second: number;
}

type Cost = Pick<LedgerRow, "cost_s" | "significant">;

const TALL = 16;
const GAP = 2;
/** A cost that is no bar, s. */
export const LEAST = 5e-4;

/** One scale for all bars: the longest loss and the longest gain fit. */
export function barScale(stacks: number[][], width: number): BarScale {
  const sums = (sign: 1 | -1) => stacks.map((costs) => costs.reduce((sum, v) => sum + Math.max(sign * v, 0), 0));
  const lost = Math.max(0.05, ...sums(1));
  const gained = Math.max(0, ...sums(-1));
  const second = (width - 8) / (lost + gained);
  return { width, zero: 4 + gained * second, second };
}

export function Bar({ scale, rows, picked = null }: { scale: BarScale; rows: Cost[]; picked?: LedgerRow | null }) {
  const ends = { lost: scale.zero, gained: scale.zero };
  return (
    <svg class="bar-picture" width={scale.width} height={TALL + 4} viewBox={`0 0 ${scale.width} ${TALL + 4}`} aria-hidden="true">
      {rows.map((row, i) => {
        if (Math.abs(row.cost_s) < LEAST) return null;
        const side = row.cost_s < 0 ? "gained" : "lost";
        const long = Math.abs(row.cost_s) * scale.second;
        const x = side === "lost" ? ends.lost : ends.gained - long;
        ends[side] = side === "lost" ? x + long : x;
        const wide = Math.max(long - GAP, 1);
        const kind = row.significant ? side : "hollow";
        const own = picked !== null && row === picked ? " picked" : "";
        return <rect key={i} class={`cost ${kind}${own}`} x={x + GAP / 2} y={2.5} width={wide} height={TALL - 1} />;
      })}
      <path class="zeroline" d={`M${scale.zero} 0V${TALL + 4}`} />
    </svg>
  );
}

/** Whole hundredths as seconds; a gain is said to be one. */
export function Seconds({ hundredths }: { hundredths: number }) {
  const text = (Math.abs(hundredths) / 100).toFixed(2);
  return hundredths < 0 ? <b class="seconds gain">{"\u2212"}{text}<small> gained</small></b> : <b class="seconds">{text}</b>;
}

export function CauseName({ desk, row }: { desk: Desk; row: LedgerRow }) {
  const kind = !row.significant ? "hollow" : row.cost_s < 0 ? "gained" : "lost";
  return (
    <>
      <svg class="swatch" width="10" height="10" viewBox="0 0 10 10" aria-hidden="true">
        <rect class={`cost ${kind}`} x="1" y="1" width="8" height="8" />
      </svg>
      {causeLabel(desk, row.cause)}
    </>
  );
}
