// What the driver did in a corner, in numbers: this lap, the lap against, and how it repeats.
import { cornerLap, fromApex, lapName, useDesk, type Desk } from "./desk";
import { spreadWords } from "./flags";
import { everyLap } from "./frame";
import { write } from "./sentences";
import type { Action, ActionWords, Corner } from "./view";

interface Row {
  name: string;
  words: ActionWords;
  action: Action;
}

function rowsOf(desk: Desk, corner: Corner): Row[] {
  return Object.entries(desk.view.words.actions).flatMap(([name, words]) => {
    const action = corner.actions[name];
    return words && action ? [{ name, words, action }] : [];
  });
}

/** A value as it stands in the table: places by their distance to the apex. */
function valueText(desk: Desk, corner: Corner, words: ActionWords, value: number | null | undefined): string {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  if (!words.is_place) return write(value, words.quantity, desk.system);
  const metres = fromApex(desk.view, corner, value);
  const text = write(Math.abs(metres), words.quantity, desk.system);
  return Number.parseFloat(text) === 0 ? "at the apex" : `${text} ${metres < 0 ? "before" : "after"}`;
}

/** How it repeats; a spread that the log cannot tell from none is said to be below its floor. */
function spreadText(desk: Desk, words: ActionWords, { spread, floor }: Action): string {
  if (spread === null) return "–";
  if (floor !== null && spread <= floor) return `under ±\u00a0${spreadWords(floor, words.quantity, desk.system)}`;
  if (spread === 0) return "alike";
  return `±\u00a0${spreadWords(spread, words.quantity, desk.system)}`;
}

function floorText(desk: Desk, words: ActionWords, floor: number | null): string {
  return floor === null ? "–" : spreadWords(floor, words.quantity, desk.system);
}

export function ActionTable({ corner }: { corner: Corner }) {
  const desk = useDesk();
  const rows = rowsOf(desk, corner);
  const known = rows.filter((row) => row.action.median !== null);
  const compare = desk.against !== null && desk.against !== desk.shown;
  if (!known.length && !rows.length) return null;
  return (
    <details class="actions">
      <summary>All that was measured here, lap by lap ({known.length})</summary>
      <table role="table" class={compare ? "four" : "three"}>
        <caption>
          Places count from the apex. The log's floor is the least that this log can tell; hand's floor, the way or time
          that {"\u00b1\u00a010\u00a0ms"} of timing makes. The grey bar in the last column is the larger of both.
        </caption>
        <thead role="rowgroup">
          <tr role="row">
            <th role="columnheader" scope="col">action</th>
            <th role="columnheader" scope="col">{lapName(desk.view, desk.shown)}</th>
            {compare && <th role="columnheader" scope="col">{lapName(desk.view, desk.against)}</th>}
            <th role="columnheader" scope="col">median</th>
            <th role="columnheader" scope="col">spread</th>
            <th role="columnheader" scope="col" class="floors">log's floor</th>
            <th role="columnheader" scope="col" class="floors">hand's floor</th>
            <th role="columnheader" scope="col" class="each">each lap</th>
          </tr>
        </thead>
        <tbody role="rowgroup">
          {known.map((row) => (
            <ActionRow key={row.name} desk={desk} corner={corner} row={row} compare={compare} />
          ))}
        </tbody>
      </table>
      <Unknown rows={rows.filter((row) => row.action.median === null)} />
    </details>
  );
}

interface RowProps {
  desk: Desk;
  corner: Corner;
  row: Row;
  compare: boolean;
}

function ActionRow({ desk, corner, row: { name, words, action }, compare }: RowProps) {
  const own = (id: string | null) => cornerLap(desk.view, corner.id, id)?.actions[name];
  return (
    <tr role="row">
      <th role="rowheader" scope="row" title={words.meaning}>{words.label}</th>
      <td role="cell" class="thislap">{valueText(desk, corner, words, own(desk.shown))}</td>
      {compare && <td role="cell">{valueText(desk, corner, words, own(desk.against))}</td>}
      <td role="cell">{valueText(desk, corner, words, action.median)}</td>
      <td role="cell">{spreadText(desk, words, action)}</td>
      <td role="cell" class={action.floor === null ? "floors none" : "floors"} data-label="log's floor">
        {floorText(desk, words, action.floor)}
      </td>
      <td role="cell" class={action.human_floor === null ? "floors none" : "floors"} data-label="hand's floor">
        {floorText(desk, words, action.human_floor)}
      </td>
      <td role="cell" class="each">
        {action.n > 1 ? <Dots desk={desk} corner={corner} row={{ name, words, action }} /> : "one lap"}
      </td>
    </tr>
  );
}

const WIDE = 168;
const TALL = 20;

/** Every lap's value on a line; the thick bar is what log and hand alone would scatter. */
function Dots({ desk, corner, row: { name, words, action } }: Omit<RowProps, "compare">) {
  const median = action.median!;
  const away = (value: number) =>
    words.is_place ? fromApex(desk.view, corner, value) - fromApex(desk.view, corner, median) : value - median;
  const laps = everyLap(desk.view, corner, name).map((lap) => ({ ...lap, away: away(lap.value) }));
  const floor = Math.max(action.floor ?? 0, action.human_floor ?? 0);
  const reach = Math.max(...laps.map((lap) => Math.abs(lap.away)), 1.3 * floor, 1e-9);
  const x = (v: number) => WIDE / 2 + (v / reach) * (WIDE / 2 - 6);
  const y = TALL / 2;
  return (
    <svg class="dots" width={WIDE} height={TALL} viewBox={`0 0 ${WIDE} ${TALL}`} aria-hidden="true">
      {floor > 0 && <rect class="floor" x={x(-floor)} y={y - 5} width={x(floor) - x(-floor)} height={10} />}
      <path class="grid" d={`M2 ${y}H${WIDE - 2}`} />
      <path class="median" d={`M${WIDE / 2} ${y - 7}v14`} />
      <path class="lapdots" d={laps.map((lap) => `M${x(lap.away).toFixed(1)} ${y}h0`).join("")} />
      {laps.filter((lap) => lap.lap === desk.shown).map((lap) => (
        <circle key={lap.lap} class="mark this" cx={x(lap.away)} cy={y} r={3.5} />
      ))}
    </svg>
  );
}

/** What could not be worked out, under its reason. */
function Unknown({ rows }: { rows: Row[] }) {
  const reasons = new Map<string, string[]>();
  for (const { action, words } of rows) {
    const why = action.why_null ?? "not known";
    reasons.set(why, [...(reasons.get(why) ?? []), words.label]);
  }
  return (
    <>
      {[...reasons].map(([why, labels]) => (
        <p class="unknown" key={why}>
          Nothing on {labels.join(", ")}: {why}.
        </p>
      ))}
    </>
  );
}
