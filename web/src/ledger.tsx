// The ledger: one row a corner, one bar a cause, adding up to the difference at the foot.
import { accountOf, heldLabel, printAccount, type Printed, type PrintedCorner } from "./account";
import { AgainstOptions, LapOptions } from "./bar";
import { Bar, barScale, CauseName, Seconds, type BarScale } from "./ledger-bars";
import { lapName, lengthOf, useDesk, useWidth, type Desk } from "./desk";
import { bringRoad, pick, usePicked } from "./picks";
import { say, write } from "./sentences";
import { sheetId } from "./sheet";
import { cornerTitle } from "./topics";
import type { LedgerRow } from "./view";

/** Width of the page when it is paper, px. */
export const PAPER = 702;

export function LedgerSection() {
  const desk = useDesk();
  const [element, width] = useWidth<HTMLElement>(PAPER);
  const { ledger, words } = desk.view;
  if (!ledger) return null;
  const account = accountOf(desk);
  const system = desk.system;
  return (
    <section class="part" id="ledger" aria-labelledby="ledger-title">
      <h2 id="ledger-title" tabIndex={-1}>
        {words.ledger?.title ?? "Where the time went"}
      </h2>
      {words.ledger?.sentences.map((text, i) => <p key={i} class="partwords">{say(text, system)}</p>)}
      <Chooser />
      <div ref={element as { current: HTMLDivElement | null }}>
        {account && width > 0 && <Picture desk={desk} printed={printAccount(account)} width={width} />}
        {!account && <Nothing />}
      </div>
      <Habits />
      {(words.ledger?.cautions.length ?? 0) > 0 && (
        <aside class="caution" aria-label="cautions on the ledger">
          {words.ledger!.cautions.map((text, i) => <p key={i}>{say(text, system)}</p>)}
        </aside>
      )}
    </section>
  );
}

function Chooser() {
  const desk = useDesk();
  return (
    <p class="chooser">
      <label>
        <span>Lap</span>
        <select value={desk.shown} onChange={(event) => desk.choose({ shown: event.currentTarget.value })}>
          <LapOptions />
        </select>
      </label>
      <label>
        <span>held against</span>
        <select value={desk.held ?? ""} onChange={(event) => desk.choose({ held: event.currentTarget.value || null })}>
          <AgainstOptions />
        </select>
      </label>
    </p>
  );
}

/** Why there is no account to show, and what can be chosen instead. */
function Nothing() {
  const desk = useDesk();
  const { ledger } = desk.view;
  if (ledger?.why_null) return <p class="empty">{say(ledger.why_null, desk.system)}</p>;
  if (desk.held === null) return <p class="empty">Choose what {lapName(desk.view, desk.shown)} is held against.</p>;
  const kept = ledger?.accounts.filter((a) => a.lap === desk.shown) ?? [];
  const others = kept.map((a) => heldLabel(desk, a.against)).join("; ");
  return (
    <p class="empty">
      This guide keeps no account of {lapName(desk.view, desk.shown)} against {heldLabel(desk)}.
      {others && ` It is held against: ${others}.`}
    </p>
  );
}

interface PictureProps {
  desk: Desk;
  printed: Printed;
  width: number;
}

function Picture({ desk, printed, width }: PictureProps) {
  const narrow = width < 660;
  const long = narrow ? width : Math.round(width * 0.37);
  const ordered = [...printed.corners].sort((a, b) => b.corner.cost_s - a.corner.cost_s);
  const scale = barScale(
    [...ordered.map((c) => c.corner.rows.map((row) => row.cost_s)), [printed.straight / 100]],
    long,
  );
  return (
    <>
      <LedgerKey />
      <table role="table" class="ledger">
        <caption>
          {`${lapName(desk.view, desk.shown)} against ${heldLabel(desk)}: ${differenceWords(desk, printed.difference)}. `}
          A cause leads to its place on the road.
        </caption>
        <thead role="rowgroup">
          <tr role="row">
            <th role="columnheader" scope="col">corner</th>
            <th role="columnheader" scope="col" class="barcell">gained ← 0 → lost</th>
            <th role="columnheader" scope="col" class="sum">s</th>
            <th role="columnheader" scope="col" class="words">causes</th>
          </tr>
        </thead>
        <tbody role="rowgroup">
          {ordered.map((one) => <CornerRow key={one.corner.corner} desk={desk} one={one} scale={scale} />)}
        </tbody>
        <tfoot role="rowgroup">
          <tr role="row">
            <th role="rowheader" scope="row">straights</th>
            <td role="cell" class="barcell">
              <Bar scale={scale} rows={[{ cost_s: printed.straight / 100, significant: true }]} />
            </td>
            <td role="cell" class="sum"><Seconds hundredths={printed.straight} /></td>
            <td role="cell" class="words">what no corner caused</td>
          </tr>
          <tr role="row" class="foot">
            <th role="rowheader" scope="row" colSpan={2} class="difference">
              {lapName(desk.view, desk.shown)} − {heldLabel(desk)}
            </th>
            <td role="cell" class="sum"><Seconds hundredths={printed.difference} /></td>
            <td role="cell" class="words">the rows above, added up</td>
          </tr>
        </tfoot>
      </table>
    </>
  );
}

export function differenceWords(desk: Desk, hundredths: number): string {
  if (hundredths === 0) return "no difference";
  return `${write(Math.abs(hundredths) / 100, "time", desk.system, 2)} ${hundredths > 0 ? "lost" : "gained"}`;
}

export function LedgerKey() {
  return (
    <ul class="key" aria-label="key to the bars">
      {(["lost", "gained", "hollow"] as const).map((kind) => (
        <li key={kind}>
          <svg class="sample" width="28" height="14" viewBox="0 0 28 14" aria-hidden="true">
            <rect class={`cost ${kind}`} x="1" y="1" width="26" height="12" />
          </svg>
          {{ lost: "time lost", gained: "time gained", hollow: "hollow: this data cannot show it" }[kind]}
        </li>
      ))}
    </ul>
  );
}

function CornerRow({ desk, one, scale }: { desk: Desk; one: PrintedCorner; scale: BarScale }) {
  const corner = desk.view.guide.corners.find((c) => c.id === one.corner.corner);
  const picked = usePicked(one.corner.corner);
  const shown = one.rows.filter(({ row }) => row.significant);
  const rest = one.rows.filter(({ row }) => !row.significant).reduce((sum, { printed }) => sum + printed, 0);
  return (
    <tr role="row" data-corner={one.corner.corner}>
      <th role="rowheader" scope="row">
        {corner ? <a href={`#${sheetId(corner)}`}>{cornerTitle(desk, corner)}</a> : one.corner.corner}
      </th>
      <td role="cell" class="barcell">
        <Bar scale={scale} rows={one.rows.map(({ row }) => row)} picked={picked} />
      </td>
      <td role="cell" class="sum"><Seconds hundredths={one.total} /></td>
      <td role="cell" class="words causes">
        {shown.length === 0 && <span class="soft">{say(one.corner.nothing, desk.system) || "No difference that this data can show"}</span>}
        {shown.map(({ row, printed }) => (
          <button
            key={row.cause}
            type="button"
            class="cause"
            aria-pressed={picked === row}
            onClick={() => showPlace(desk, one.corner.corner, row)}
          >
            <CauseName desk={desk} row={row} /> <Seconds hundredths={printed} />
          </button>
        ))}
        {shown.length > 0 && one.rows.length > shown.length && (
          <span class="soft rest">not shown by this data <Seconds hundredths={rest} /></span>
        )}
      </td>
    </tr>
  );
}

/** Pick a cause out and go to the place on the road where it happened. */
function showPlace(desk: Desk, corner: string, row: LedgerRow): void {
  pick({ corner, row }, lengthOf(desk.view));
  const sheet = document.getElementById(`corner-${corner}`);
  (sheet?.querySelector(".account") ?? sheet)?.scrollIntoView({ behavior: "instant" });
  bringRoad(corner);
  sheet?.querySelector<HTMLElement>(`.account [data-cause="${row.cause}"]`)?.focus({ preventScroll: true });
}

function Habits() {
  const desk = useDesk();
  const habits = (desk.view.ledger?.habits ?? []).filter((habit) => habit.against === desk.held);
  if (!habits.length) return null;
  return (
    <div class="habits">
      <h3>Habits and one-offs</h3>
      <ul>
        {habits.map((habit, i) => {
          const corner = desk.view.guide.corners.find((c) => c.id === habit.corner);
          return (
            <li key={i}>
              {say(habit.text, desk.system)} {corner && <a href={`#${sheetId(corner)}`}>{cornerTitle(desk, corner)}</a>}
            </li>
          );
        })}
      </ul>
    </div>
  );
}
