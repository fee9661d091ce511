// How far onto a kerb the wheels went against the time in the corner, a dot for each lap.
import { cornerLap, type Desk } from "./desk";
import { extent, niceTicks } from "./places";
import { bare, roundFixed, ruleOf, say } from "./sentences";
import type { Corner, KerbEffect, KerbUse } from "./view";

const WIDE = 330;
const TALL = 148;
const LEFT = 46;
const BOTTOM = 112;
const TOP = 20;

interface Dot {
  lap: string;
  depth: number;
  time: number;
  on: boolean;
}

export function KerbCharts({ desk, corner }: { desk: Desk; corner: Corner }) {
  const charts = desk.view.words.marks.kerb_charts[corner.id] ?? [];
  return (
    <>
      {charts.map(({ kerb, text }) => {
        const one = corner.kerbs?.find(({ name }) => name === kerb);
        if (!one) return null;
        const effect = one.effects?.find(({ measure }) => measure === "corner_time_s");
        return (
          <figure key={kerb} class="kerbchart">
            <Chart desk={desk} dots={dotsOf(desk, corner, one.uses)} effect={effect ?? null} />
            <figcaption class="soft">{say(text, desk.system)}</figcaption>
          </figure>
        );
      })}
    </>
  );
}

function dotsOf(desk: Desk, corner: Corner, uses: KerbUse[]): Dot[] {
  const dots = uses.flatMap(({ lap, depth_m, wheels }) => {
    const time = cornerLap(desk.view, corner.id, lap)?.time_s;
    return time == null ? [] : [{ lap, depth: depth_m, time, on: wheels.length > 0 }];
  });
  // The lap that the pictures follow lies on top.
  return dots.sort((a, b) => Number(a.lap === desk.shown) - Number(b.lap === desk.shown));
}

function Chart({ desk, dots, effect }: { desk: Desk; dots: Dot[]; effect: KerbEffect | null }) {
  const deepest = Math.max(...dots.map(({ depth }) => depth));
  const [low, high] = extent([dots.map(({ time }) => time)]);
  const room = Math.max(0.1 * (high - low), 0.005);
  const x = (depth: number) => LEFT + 8 + (depth / deepest) * (WIDE - LEFT - 24);
  const y = (time: number) => BOTTOM - 6 - ((time - low + room) / (high - low + 2 * room)) * (BOTTOM - 6 - TOP);
  const { factor, unit } = ruleOf("offset", desk.system);
  const depths = niceTicks(0, deepest * factor, 4);
  const fine = (depths[1] ?? 1) - (depths[0] ?? 0) < 0.095;
  const best = effect?.verdict === "best at" && effect.best_low_m != null && effect.best_high_m != null ? [x(effect.best_low_m), x(effect.best_high_m)] : null;
  return (
    <svg viewBox={`0 0 ${WIDE} ${TALL}`} aria-hidden="true">
      {best && <rect class="band" x={best[0]} y={TOP} width={Math.max(best[1]! - best[0]!, 2)} height={BOTTOM - TOP} />}
      {niceTicks(low, high, 3).map((time) => (
        <g key={time}>
          <path class="grid" d={`M${LEFT} ${y(time)}H${WIDE}`} />
          <text class="axis" x={LEFT - 6} y={y(time) + 4} text-anchor="end">{bare(time, "time", desk.system, 2)}</text>
        </g>
      ))}
      <path class="grid zero" d={`M${LEFT} ${BOTTOM}H${WIDE}`} />
      {depths.map((tick) => (
        <text key={tick} class="axis" x={x(tick / factor)} y={BOTTOM + 15} text-anchor="middle">{roundFixed(tick, fine ? 2 : 1)}</text>
      ))}
      <text class="axis" x={0} y={12}>s in the corner</text>
      <text class="axis" x={WIDE} y={TALL - 4} text-anchor="end">{`deep, ${unit} →`}</text>
      {dots.map(({ lap, depth, time, on }) => (
        <circle key={lap} class={`kerbdot${lap === desk.shown ? " this" : ""}${on ? "" : " none"}`} data-lap={lap} cx={x(depth)} cy={y(time)} r={4} />
      ))}
    </svg>
  );
}
