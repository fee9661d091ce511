// The account of a lap: which one is shown, what its rows say in whole hundredths, what was lost where.
import type { Desk } from "./desk";
import { wrap } from "./places";
import type { Account, LedgerCorner, LedgerRow, Numbers } from "./view";

export function accountOf(desk: Desk): Account | null {
  const { ledger } = desk.view;
  if (!ledger || desk.held === null) return null;
  return ledger.accounts.find((a) => a.lap === desk.shown && a.against === desk.held) ?? null;
}

/** What the lap is held against, in words that stand after "against". */
export function heldLabel(desk: Desk, key: string | null = desk.held): string {
  if (key === null) return "nothing";
  const choice = desk.view.ledger?.against.find((one) => one.key === key);
  if (choice) return choice.label;
  const row = desk.view.guide.laps.find((lap) => `lap:${lap.id}` === key);
  return row ? `lap ${row.number}` : key.replaceAll("_", " ");
}

export function causeLabel(desk: Desk, cause: string): string {
  return desk.view.ledger?.causes[cause]?.label ?? cause.replaceAll("_", " ");
}

/** Divide a whole number as the amounts do, by the largest remainder. The same rule as lapwright/publish/hundredths.py. */
export function divide(amounts: number[], whole: number): number[] {
  const parts = amounts.map((v) => Math.floor(v * 100));
  const order = amounts.map((v, i) => [v * 100 - parts[i]!, i] as const).sort((a, b) => b[0] - a[0] || a[1] - b[1]);
  const rest = whole - parts.reduce((sum, v) => sum + v, 0);
  const each = Math.floor(rest / parts.length);
  return parts.map((v, i) => v + each + (order.findIndex(([, k]) => k === i) < rest - each * parts.length ? 1 : 0));
}

/** Half a hundredth goes away from zero, as in every other number. */
export function hundredths(seconds: number): number {
  return Math.sign(seconds) * Math.round(Math.abs(seconds) * 100);
}

export interface PrintedCorner {
  corner: LedgerCorner;
  total: number;
  rows: { row: LedgerRow; printed: number }[];
}

export interface Printed {
  difference: number;
  straight: number;
  /** In the order that they are driven. */
  corners: PrintedCorner[];
}

const printed = new WeakMap<Account, Printed>();

/** Whole hundredths that add up: rows to their corner, corners and straights to the difference. */
export function printAccount(account: Account): Printed {
  const known = printed.get(account);
  if (known) return known;
  const difference = hundredths(account.difference_s);
  const [straight, ...totals] = divide([account.straight_s, ...account.corners.map((c) => c.cost_s)], difference) as [number, ...number[]];
  const corners = account.corners.map((corner, i) => {
    const parts = corner.rows.length ? divide(corner.rows.map((row) => row.cost_s), totals[i]!) : [];
    const rows = corner.rows
      .map((row, k) => ({ row, printed: parts[k]! }))
      .sort((a, b) => rank(a.row) - rank(b.row) || Math.abs(b.row.cost_s) - Math.abs(a.row.cost_s));
    return { corner, total: totals[i]!, rows };
  });
  const made = { difference, straight, corners };
  printed.set(account, made);
  return made;
}

/** What the data shows first; what nothing explains last. */
function rank(row: LedgerRow): number {
  return row.cause === "unexplained" ? 2 : row.significant ? 0 : 1;
}

/** Seconds lost up to a place, going on over the line. */
export function lostAt(account: Account, lost: Numbers, place: number, step: number): number {
  const count = lost.length;
  const position = place / step;
  const laps = Math.floor(position / count);
  const within = wrap(position, count);
  const i = Math.min(Math.floor(within), count - 1);
  const a = lost[i]!;
  const b = i + 1 < count ? lost[i + 1]! : account.difference_s;
  return laps * account.difference_s + a + (b - a) * (within - i);
}

/** The account of one corner, with its printed hundredths. */
export function cornerAccount(desk: Desk, corner: string): PrintedCorner | null {
  const account = accountOf(desk);
  return (account && printAccount(account).corners.find((c) => c.corner.corner === corner)) ?? null;
}
