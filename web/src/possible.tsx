// What is possible: lap times beside each other, the words, and the envelope that the laps showed.
import { EnvelopePicture } from "./envelope";
import { lapName, useDesk, useWidth, type Desk } from "./desk";
import { PAPER } from "./ledger";
import { niceTicks } from "./places";
import { bare, say, write } from "./sentences";
import type { LapTimes } from "./view";

export function PossibleSection() {
  const desk = useDesk();
  const [element, width] = useWidth<HTMLElement>(PAPER);
  const { words, pictures } = desk.view;
  const said = words.possible;
  if (!said && !pictures.envelope) return null;
  return (
    <section class="part" id="possible" aria-labelledby="possible-title">
      <h2 id="possible-title" tabIndex={-1}>
        {said?.title ?? "What is possible"}
      </h2>
      {said?.sentences.map((text, i) => <p key={i} class="partwords">{say(text, desk.system)}</p>)}
      {said?.why_null && <p class="empty">{say(said.why_null, desk.system)}</p>}
      <div ref={element as { current: HTMLDivElement | null }}>
        {width > 0 && <Times desk={desk} width={Math.min(width, 820)} />}
        {width > 0 && pictures.envelope && <EnvelopePicture desk={desk} envelope={pictures.envelope} width={width} />}
      </div>
    </section>
  );
}

interface TimeRow {
  label: string;
  kind: "driven" | "computed";
  time: LapTimes;
}

function timeRows(desk: Desk): TimeRow[] {
  const { guide } = desk.view;
  const driven = (id: string | null, label: string): TimeRow[] => {
    const seconds = guide.laps.find((lap) => lap.id === id)?.time_s ?? null;
    return seconds === null ? [] : [{ label, kind: "driven", time: { value: seconds, low: null, high: null } }];
  };
  const row = (label: string, kind: TimeRow["kind"], time: LapTimes | null | undefined): TimeRow[] =>
    time ? [{ label, kind, time }] : [];
  const possible = guide.possible;
  const best = guide.laps.filter((lap) => lap.used && lap.time_s !== null).sort((a, b) => a.time_s! - b.time_s!)[0];
  return [
    ...driven(desk.shown, lapName(desk.view, desk.shown)),
    ...(best && best.id !== desk.shown ? driven(best.id, `best lap, ${lapName(desk.view, best.id)}`) : []),
    ...row("own best corners joined", "driven", possible?.own_best_corners_s),
    ...row("possible on the driven line", "computed", possible?.on_line_s),
    ...row("possible on the fastest line", "computed", possible?.on_fastest_line_s),
  ];
}

const ROW = 26;

/** Lap times on one axis: driven ones as dots, computed ones as diamonds with their interval. */
function Times({ desk, width }: { desk: Desk; width: number }) {
  const rows = timeRows(desk);
  if (!rows.some((row) => row.kind === "computed")) return null;
  const narrow = width < 560;
  const tall = narrow ? ROW + 16 : ROW;
  const left = narrow ? 6 : 208;
  const right = width - 76;
  const ends = rows.flatMap(({ time }) => [time.value, time.low ?? time.value, time.high ?? time.value]);
  const [low, high] = [Math.min(...ends), Math.max(...ends)];
  const room = 0.04 * (high - low) + 0.05;
  const x = (v: number) => left + ((v - low + room) / (high - low + 2 * room)) * (right - left);
  const bottom = rows.length * tall + 4;
  return (
    <svg class="times" viewBox={`0 0 ${width} ${bottom + 22}`} width={width} role="img" aria-label={timesWords(desk, rows)}>
      {niceTicks(low - room, high + room, (right - left) / 90).map((tick) => (
        <g key={tick}>
          <path class="grid" d={`M${x(tick)} 0V${bottom}`} />
          <text class="axis" x={x(tick)} y={bottom + 16} text-anchor={x(tick) < 24 ? "start" : "middle"}>
            {bare(tick, "lap_time", desk.system, tick % 1 ? 1 : 0)}
          </text>
        </g>
      ))}
      {rows.map(({ label, kind, time }, i) => {
        const y = i * tall + tall - 11;
        const { low: a, high: b, value } = time;
        return (
          <g key={label}>
            <text class={narrow ? "halo" : ""} x={narrow ? 0 : left - 12} y={narrow ? y - 12 : y + 4} text-anchor={narrow ? "start" : "end"}>
              {label}
            </text>
            {a !== null && b !== null && <path class="possiblespan" d={`M${x(a)} ${y}H${x(b)}M${x(a)} ${y - 5}v10M${x(b)} ${y - 5}v10`} />}
            {kind === "driven" ? (
              <circle class={i === 0 ? "mark this" : "lapdot"} cx={x(value)} cy={y} r={4.5} />
            ) : (
              <path class="mark possible" d={`M${x(value)} ${y - 6}l6 6l-6 6l-6 -6Z`} />
            )}
            <text class="halo" x={width} y={y + 4} text-anchor="end">
              {write(value, "lap_time", desk.system, 2)}
            </text>
          </g>
        );
      })}
    </svg>
  );
}

function timesWords(desk: Desk, rows: TimeRow[]): string {
  const time = (v: number) => write(v, "lap_time", desk.system, 2);
  return rows
    .map(({ label, time: { value, low, high } }) =>
      low === null || high === null ? `${label} ${time(value)}` : `${label} ${time(value)} (${time(low)} to ${time(high)})`,
    )
    .join("; ");
}
