// The account of one corner, on its sheet: each cause with its cost, its interval and its sentence.
import { cornerAccount, heldLabel, type PrintedCorner } from "./account";
import { lapName, lengthOf, type Desk } from "./desk";
import { Bar, barScale, CauseName, LEAST, Seconds } from "./ledger-bars";
import { differenceWords } from "./ledger";
import { bringRoad, pick, usePicked } from "./picks";
import { bare, say } from "./sentences";
import type { Corner, LedgerRow, Sentence, Value } from "./view";

export function AccountBlock({ desk, corner, width }: { desk: Desk; corner: Corner; width: number }) {
  const one = cornerAccount(desk, corner.id);
  const picked = usePicked(corner.id);
  if (!one) return null;
  const nothing = one.rows.every(({ row }) => !row.significant);
  const lost = `${lapName(desk.view, desk.shown)} against ${heldLabel(desk)}`;
  return (
    <div class="account">
      <h3>
        {lost}: {differenceWords(desk, one.total)} here <a href="#ledger">all corners</a>
      </h3>
      {nothing && <p class="soft">{say(one.corner.nothing, desk.system) || "No difference that this data can show."}</p>}
      {one.rows.some(({ row }) => Math.abs(row.cost_s) >= LEAST) && <Rows desk={desk} one={one} picked={picked} width={width} />}
    </div>
  );
}

function Rows({ desk, one, picked, width }: { desk: Desk; one: PrintedCorner; picked: LedgerRow | null; width: number }) {
  const scale = barScale(one.rows.map(({ row }) => [row.cost_s]), width < 640 ? Math.max(width, 80) : 200);
  const rest = one.rows.filter(({ row }) => !row.significant).reduce((sum, { printed }) => sum + printed, 0);
  const choose = (row: LedgerRow) => {
    pick(picked === row ? null : { corner: one.corner.corner, row }, lengthOf(desk.view));
    if (picked !== row) bringRoad(one.corner.corner);
  };
  return (
    <table role="table" class="ledger own">
      <thead role="rowgroup">
        <tr role="row">
          <th role="columnheader" scope="col">cause</th>
          <th role="columnheader" scope="col" class="barcell">gained ← 0 → lost</th>
          <th role="columnheader" scope="col" class="sum">s</th>
          <th role="columnheader" scope="col" class="between">90 % within</th>
          <th role="columnheader" scope="col" class="words">what happened</th>
        </tr>
      </thead>
      <tbody role="rowgroup">
        {one.rows.map(({ row, printed }) => (
          <tr role="row" key={row.cause} class={row.significant ? "" : "faint"}>
            <th role="rowheader" scope="row">
              <button
                type="button"
                class="cause"
                data-cause={row.cause}
                aria-pressed={picked === row}
                onClick={() => choose(row)}
                disabled={row.from_m === null}
              >
                <CauseName desk={desk} row={row} />
              </button>
            </th>
            <td role="cell" class="barcell"><Bar scale={scale} rows={[row]} picked={picked} /></td>
            <td role="cell" class="sum"><Seconds hundredths={printed} /></td>
            <td role="cell" class="between">{between(desk, row)}</td>
            <td role="cell" class="words">{say(printedText(row, printed), desk.system) || meaning(desk, row)}</td>
          </tr>
        ))}
        <tr role="row" class="paper">
          <th role="rowheader" scope="row">not shown by this data</th>
          <td role="cell" class="barcell" />
          <td role="cell" class="sum"><Seconds hundredths={rest} /></td>
          <td role="cell" class="between" />
          <td role="cell" class="words" />
        </tr>
      </tbody>
    </table>
  );
}

/** The row's sentence with the cost as it is printed in the row. The same rule as in lapwright/publish/hundredths.py. */
function printedText({ text, cost_s }: LedgerRow, printed: number): Sentence | null {
  if (!text?.v) return text;
  const same = ([value, quantity]: Value) => quantity === "time" && value !== null && Math.abs(Math.abs(value) - Math.abs(cost_s)) < 1e-6;
  return { ...text, v: text.v.map((value) => (same(value) ? [Math.abs(printed) / 100, "time", 2] : value)) };
}

function between(desk: Desk, { low_s, high_s }: LedgerRow): string {
  if (low_s === null || high_s === null) return "–";
  return `${bare(low_s, "time", desk.system, 2)} to ${bare(high_s, "time", desk.system, 2)}`;
}

/** What a row without a sentence stands for. */
function meaning(desk: Desk, row: LedgerRow): string {
  const words = desk.view.ledger?.causes[row.cause]?.meaning ?? "";
  return row.significant || row.cause === "unexplained" ? words : "this data cannot show it";
}
