// The laps: which is shown, which it is held against, and which are set aside and why.
import { lapKey, lapOf, useDesk } from "./desk";
import { bare, keepUnits, write } from "./sentences";
import type { LapRow } from "./view";

export function LapTable() {
  const desk = useDesk();
  const { laps } = desk.view.guide;
  const times = laps.filter((lap) => lap.used && lap.time_s !== null).map((lap) => asShown(lap.time_s!));
  const best = Math.min(...times);
  const most = Math.max(...times) - best;
  const drivers = new Set(laps.map((lap) => lap.driver)).size > 1;
  return (
    <table class="laps">
      <thead>
        <tr>
          <th scope="col">lap</th>
          {drivers && <th scope="col" class="words">driver</th>}
          <th scope="col">time</th>
          <th scope="col">behind the best</th>
          <th scope="col" class="pick">show</th>
          <th scope="col" class="pick">against</th>
        </tr>
      </thead>
      <tbody>
        {laps.map((lap) =>
          lap.used && lapOf(desk, lap.id) ? (
            <UsedRow key={lap.id} lap={lap} best={best} most={most} drivers={drivers} />
          ) : (
            <AsideRow key={lap.id} lap={lap} drivers={drivers} />
          ),
        )}
      </tbody>
    </table>
  );
}

/** Times as the table shows them, so that its gaps are the differences that a reader works out. */
function asShown(time: number) {
  return Number(time.toFixed(3));
}

function UsedRow({ lap, best, most, drivers }: { lap: LapRow; best: number; most: number; drivers: boolean }) {
  const desk = useDesk();
  const behind = lap.time_s === null ? 0 : asShown(lap.time_s) - best;
  const own = lap.id === desk.shown ? "shown" : lapKey(lap.id) === desk.held ? "held" : "";
  return (
    <tr class={own}>
      <th scope="row">{lap.number}</th>
      {drivers && <td class="words">{lap.driver}</td>}
      <td>{write(lap.time_s, "lap_time", desk.system)}</td>
      <td class="behind">
        <svg width="72" height="12" viewBox="0 0 72 12" aria-hidden="true">
          <path class="grid" d="M4 6H68" />
          <circle class="lapdot" cx={4 + (most > 0 ? (behind / most) * 64 : 0)} cy={6} r={3} />
        </svg>
        <span>{behind > 0.0005 ? `+${bare(behind, "time", desk.system, 3)}` : "best"}</span>
      </td>
      <td class="pick">
        <input
          type="radio"
          name="shown"
          aria-label={`show lap ${lap.number}`}
          checked={lap.id === desk.shown}
          onChange={() => desk.choose({ shown: lap.id })}
        />
      </td>
      <td class="pick">
        <input
          type="radio"
          name="against"
          aria-label={`hold it against lap ${lap.number}`}
          checked={lapKey(lap.id) === desk.held}
          disabled={lap.id === desk.shown}
          onChange={() => desk.choose({ held: lapKey(lap.id) })}
        />
      </td>
    </tr>
  );
}

function AsideRow({ lap, drivers }: { lap: LapRow; drivers: boolean }) {
  const desk = useDesk();
  return (
    <tr class="aside">
      <th scope="row">{lap.number}</th>
      {drivers && <td class="words">{lap.driver}</td>}
      <td>{write(lap.time_s, "lap_time", desk.system)}</td>
      <td class="words" colSpan={3}>
        set aside: {keepUnits(lap.why_not ?? "no reason given")}
      </td>
    </tr>
  );
}
