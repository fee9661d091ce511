// The other half of lapwright/publish/packing.py.
import type { Account, View } from "./view";

type Note = [
  offset: number,
  count: number,
  width: number,
  order: number,
  step: number,
  head: number[],
  missing: number[],
];

/** Read the view and its packed arrays out of the page. */
export async function readView(): Promise<View> {
  const block = await inflate(decode(textOf("arrays")));
  const tree = JSON.parse(textOf("view")) as View;
  const pictures = tree.pictures as unknown as Record<string, unknown>;
  expand(pictures["road"] as Record<string, unknown>, block);
  for (const lap of Object.values(pictures["laps"] as Record<string, Record<string, unknown>>)) {
    expand(lap, block);
  }
  if (pictures["possible"]) expand(pictures["possible"] as Record<string, unknown>, block);
  if (pictures["sight"]) expand(pictures["sight"] as Record<string, unknown>, block);
  for (const account of tree.ledger?.accounts ?? []) {
    const lost = { lost_s: account.lost_s as unknown };
    expand(lost, block);
    account.lost_s = lost.lost_s as Account["lost_s"];
  }
  return tree;
}

function textOf(id: string): string {
  return document.getElementById(id)?.textContent ?? "";
}

function decode(base64: string): Uint8Array<ArrayBuffer> {
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
  return bytes;
}

async function inflate(bytes: Uint8Array<ArrayBuffer>): Promise<Uint8Array> {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

function expand(channels: Record<string, unknown>, block: Uint8Array): void {
  for (const [name, value] of Object.entries(channels)) {
    const note = (value as { packed?: Note } | null)?.packed;
    if (note) channels[name] = unpack(note, block);
    else if (Array.isArray(value)) channels[name] = value.map((v) => (v === null ? NaN : v));
  }
}

function unpack([offset, count, width, order, step, head, missing]: Note, block: Uint8Array): Float64Array {
  const out = new Float64Array(count);
  const planes = count - order;
  let value = head[0] ?? 0;
  let slope = order === 2 ? (head[1] ?? 0) : 0;
  out[0] = value;
  if (order === 2) out[1] = value += slope;
  for (let i = 0; i < planes; i++) {
    let folded = 0;
    for (let plane = width - 1; plane >= 0; plane--) {
      folded = folded * 256 + block[offset + plane * planes + i]!;
    }
    const difference = folded % 2 ? -(folded + 1) / 2 : folded / 2;
    slope = order === 2 ? slope + difference : difference;
    out[i + order] = value += slope;
  }
  for (let i = 0; i < count; i++) out[i] = out[i]! * step;
  for (let i = 0; i < missing.length; i += 2) out.fill(NaN, missing[i]!, missing[i]! + missing[i + 1]!);
  return out;
}
