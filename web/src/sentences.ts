// Sentences with values in them. The same rule as lapwright/guide/sentences.py.
import type { Sentence, UnitRule, UnitSystem } from "./view";

const NO_BREAK_SPACE = "\u00a0";
const MINUS = "\u2212";
const PLAIN: UnitRule = { unit: "", factor: 1, decimals: 2 };

export function ruleOf(quantity: string, system: UnitSystem): UnitRule {
  return system.quantities[quantity] ?? PLAIN;
}

/** A number with so many decimals, halves away from zero, with a true minus. */
export function roundFixed(value: number, decimals: number): string {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? MINUS + text : text;
}

function lapTime(seconds: number, decimals: number): string {
  const text = Math.abs(seconds).toFixed(decimals);
  const [whole, part] = text.split(".") as [string, string?];
  const minutes = Math.floor(Number(whole) / 60);
  const rest = String(Number(whole) % 60).padStart(2, "0");
  const sign = seconds < 0 && Number(text) !== 0 ? MINUS : "";
  return `${sign}${minutes}:${rest}${part ? `.${part}` : ""}`;
}

/** An SI value in the reader's units, without the unit. */
export function bare(value: number, quantity: string, system: UnitSystem, decimals?: number): string {
  const rule = ruleOf(quantity, system);
  const places = decimals ?? rule.decimals;
  if (quantity === "lap_time") return lapTime(value * rule.factor, places);
  return roundFixed(value * rule.factor, places);
}

/** An SI value in the reader's units, unit included. */
export function write(
  value: number | null | undefined,
  quantity: string,
  system: UnitSystem,
  decimals?: number,
): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const text = bare(value, quantity, system, decimals);
  const { unit } = ruleOf(quantity, system);
  if (!unit || quantity === "lap_time") return text;
  return unit === "°" ? text + unit : text + NO_BREAK_SPACE + unit;
}

/** What stands behind ±: never zero for a width that is not; up to two decimals more, then rounded up. */
function writeWidth(value: number | null, quantity: string, system: UnitSystem, decimals?: number): string {
  const rule = ruleOf(quantity, system);
  let places = decimals ?? rule.decimals;
  if (!value || !Number.isFinite(value)) return write(value, quantity, system, places);
  const most = places + 2;
  while (places < most && !Number(roundFixed(Math.abs(value) * rule.factor, places))) places++;
  return write(Math.max(Math.abs(value), 10 ** -places / rule.factor), quantity, system, places);
}

/** A sentence with its holes filled. */
export function say(sentence: Sentence | null | undefined, system: UnitSystem): string {
  if (!sentence) return "";
  return sentence.t.replace(/\{(\d+)\}/g, (hole, index: string, offset: number) => {
    const value = sentence.v?.[Number(index)];
    const width = /±[\u00a0 ]$/.test(sentence.t.slice(0, offset));
    return value ? (width ? writeWidth : write)(value[0], value[1], system, value[2]) : hole;
  });
}

/** Keep a number and its unit on one line in words that come written. */
export function keepUnits(text: string): string {
  return text.replace(/(\d) (m|s|km\/h|%)(?![\w])/g, `$1${NO_BREAK_SPACE}$2`);
}
