// What is written on the road: the driver's actions, and what stands beside it.
import { cornerLap, fromApex, lapName, type Desk } from "./desk";
import type { Frame } from "./frame";
import { everyLap, samples } from "./frame";
import { breakLines, placeFlags, textWidth, type Placed } from "./labels";
import { near } from "./places";
import { bare, ruleOf, write } from "./sentences";
import type { Action, ActionWords } from "./view";
import { loadStretches } from "./worth";

export interface Flag extends Placed {
  key: string;
  /** An action of the driver, or a thing beside the road. */
  tone: "action" | "beside";
  place: number;
  x: number;
  width: number;
  lines: string[];
  notes: string[];
  /** Where the lap it is held against did the same; where every lap did; the usual place. */
  other: number | null;
  laps: number[];
  median: number | null;
  spread: number | null;
  off: number | null;
}

export const TITLE = 13;
export const NOTE = 12;

/** Place of an action, and the action whose value is written there. */
const WRITTEN: [place: string, value: string | null, wideOnly: boolean][] = [
  ["off_throttle_m", null, true],
  ["brake_start_m", null, false],
  ["turn_in_m", null, false],
  ["brake_end_m", null, true],
  ["apex_m", "apex_inside_m", false],
  ["minimum_speed_m", "minimum_speed_mps", false],
  ["throttle_first_m", null, false],
  ["full_throttle_m", null, false],
];

type Draft = Omit<Flag, keyof Placed | "x" | "width" | "lines" | "notes"> & { title: string; note: string };

export function makeFlags(desk: Desk, frame: Frame): Flag[] {
  const drafts = [...actions(desk, frame), ...beside(desk, frame)].filter(
    (d) => d.place > frame.from && d.place < frame.to,
  );
  const widest = (frame.right - frame.left) * (frame.paper ? 0.6 : frame.narrow ? 0.46 : 0.28);
  const shaped = drafts.map((draft) => {
    const weight = draft.tone === "action" ? 600 : 400;
    const title = frame.paper && draft.note ? `${draft.title} ${draft.note}` : draft.title;
    const lines = breakLines(title, TITLE, weight, widest);
    const notes = draft.note && !frame.paper ? breakLines(draft.note, NOTE, 400, widest) : [];
    const widths = [...lines.map((l) => textWidth(l, TITLE, weight)), ...notes.map((l) => textWidth(l, NOTE))];
    return { ...draft, lines, notes, x: frame.x(draft.place), width: Math.max(...widths) + 8, wants: wants(draft) };
  });
  const placed = placeFlags(shaped, frame.left - (frame.narrow ? 26 : 60), frame.right + 4);
  return shaped.map((flag, i) => ({ ...flag, ...placed[i]! }));
}

/** A thing beside the road is named on its own side. */
function wants({ off }: Draft): "above" | "below" | null {
  return off === null ? null : off > 0 ? "above" : "below";
}

function actions(desk: Desk, frame: Frame): Draft[] {
  const drafts: Draft[] = [];
  for (const [name, valued, wideOnly] of WRITTEN) {
    const draft = wideOnly && frame.narrow ? null : actionDraft(desk, frame, name, valued);
    if (draft) drafts.push(draft);
  }
  const brake = drafts.find((d) => d.key === "brake_start_m");
  return drafts.filter(
    (d) => d.key !== "off_throttle_m" || !brake || Math.abs(brake.place - d.place) > 0.05 * (frame.to - frame.from),
  );
}

function actionDraft(desk: Desk, frame: Frame, name: string, valued: string | null): Draft | null {
  const { view } = desk;
  const { corner } = frame;
  const words = view.words.actions[name];
  const place = cornerLap(view, corner.id, desk.shown)?.actions[name];
  if (!words || place === null || place === undefined) return null;
  const length = view.pictures.points * view.pictures.step_m;
  const close = (p: number) => near(p, corner.apex_m, length);
  const other = cornerLap(view, corner.id, desk.against)?.actions[name];
  const action = corner.actions[name];
  return {
    key: name,
    tone: "action",
    place: close(place),
    title: title(desk, frame, words, place, valued),
    note: note(desk, frame, words, action, other ?? null, valued),
    other: other === null || other === undefined ? null : close(other),
    laps: everyLap(view, corner, name).map((row) => close(row.value)),
    median: action?.median == null ? null : close(action.median),
    spread: action?.spread ?? null,
    off: null,
  };
}

/** "62 m before the apex", by the words that the guide brings. */
export function placeWords(desk: Desk, words: ActionWords, metres: number): string {
  const distance = write(Math.abs(metres), words.quantity, desk.system);
  if (Number.parseFloat(distance) === 0) return `${words.label} at the apex`;
  const pattern = metres < 0 ? words.before : words.after;
  if (pattern) return pattern.replace("{0}", distance);
  return `${words.label} ${distance} ${metres < 0 ? "before" : "after"} the apex`;
}

function title(desk: Desk, frame: Frame, words: ActionWords, place: number, valued: string | null): string {
  if (!valued) return placeWords(desk, words, fromApex(desk.view, frame.corner, place));
  const said = desk.view.words.actions[valued];
  const value = cornerLap(desk.view, frame.corner.id, desk.shown)?.actions[valued];
  if (!said || value === null || value === undefined) return words.label;
  const written = write(value, said.quantity, desk.system);
  return valued === "apex_inside_m" ? `apex, ${written} off the inside` : `${said.label} ${written}`;
}

function note(
  desk: Desk,
  frame: Frame,
  words: ActionWords,
  place: Action | undefined,
  other: number | null,
  valued: string | null,
): string {
  const { view, system } = desk;
  const action = valued ? frame.corner.actions[valued] : place;
  const quantity = valued ? (view.words.actions[valued]?.quantity ?? "") : words.quantity;
  const parts: string[] = [];
  if (action?.spread != null && action.n > 2) {
    const width = Math.max(action.spread, action.floor ?? 0);
    if (width > 0) parts.push(`${width > action.spread ? "under " : ""}±\u00a0${spreadWords(width, quantity, system)}`);
  }
  const value = valued ? cornerLap(view, frame.corner.id, desk.against)?.actions[valued] : other;
  if (desk.against !== null && value !== null && value !== undefined && !frame.narrow && !frame.paper) {
    const written = valued
      ? write(value, quantity, system)
      : signed(fromApex(view, frame.corner, value), quantity, system);
    parts.push(`${lapName(view, desk.against)}: ${written}`);
  }
  return parts.join(" · ");
}

/** A spread or a floor with about two digits. The same rule as width_figure in lapwright/guide/figures.py. */
export function spreadWords(spread: number, quantity: string, system: Desk["system"]): string {
  const fine = quantity === "distance" ? "offset" : quantity;
  const shown = spread * ruleOf(fine, system).factor;
  const decimals = [9.95, 0.095, 0.0095].filter((limit) => shown > 0 && shown < limit).length;
  return write(spread, fine, system, decimals);
}

function signed(metres: number, quantity: string, system: Desk["system"]): string {
  const text = bare(Math.abs(metres), quantity, system);
  const { unit } = ruleOf(quantity, system);
  return `${text}\u00a0${unit} ${metres < 0 ? "before" : "after"}`;
}

function beside(desk: Desk, frame: Frame): Draft[] {
  const { pictures } = desk.view;
  const length = pictures.points * pictures.step_m;
  const middle = (frame.from + frame.to) / 2;
  const draft = (key: string, place: number, text: string, off: number): Draft => ({
    key,
    tone: "beside",
    place: near(place, middle, length),
    title: text,
    note: "",
    other: null,
    laps: [],
    median: null,
    spread: null,
    off,
  });
  return [
    ...pictures.landmarks.map((mark, i) => draft(`landmark ${i}`, mark.at_m, mark.name, mark.off_m)),
    ...pictures.spans
      .filter((span) => span.kind === "patch")
      .map((span, i) =>
        draft(`patch ${i}`, near(span.start_m, middle, length) + 4, span.name, (span.left_m + span.right_m) / 2),
      ),
    ...loads(desk, frame),
  ];
}

/** Where the road's shape is felt most: once pressed down, once gone light. */
function loads(desk: Desk, frame: Frame): Draft[] {
  const edge = 0.02 * (frame.to - frame.from);
  // A stretch that goes on beyond the picture is felt most somewhere else, perhaps.
  const found = loadStretches(frame, samples(frame)).filter((one) => one.peak > frame.from + edge && one.peak < frame.to - edge);
  return (["pressed", "light"] as const).flatMap((kind) => {
    const [most] = found.filter((one) => one.kind === kind).sort((a, b) => Math.abs(b.share) - Math.abs(a.share));
    if (!most) return [];
    const share = write(Math.abs(most.share), "share", desk.system);
    const title = kind === "pressed" ? `pressed down, ${share} heavier` : `goes light, ${share} lighter`;
    const blank = { note: "", other: null, laps: [], median: null, spread: null, off: null };
    return [{ ...blank, key: `load ${kind}`, tone: "beside" as const, place: most.peak, title }];
  });
}
