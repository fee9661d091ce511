// How much of a corner's turning is done on the brake, off both pedals and on the throttle: in turn, adding up.
import type { Desk } from "./desk";
import { write } from "./sentences";
import type { Corner, Phase } from "./view";

const WIDE = 330;
const ROW = 22;
const LEFT = 104;
const PHASES: Phase[] = ["brake", "neither", "throttle"];

export function Rotation({ desk, corner }: { desk: Desk; corner: Corner }) {
  const turning = corner.rotation?.turning;
  if (!turning) return null;
  const room = WIDE - LEFT - 46;
  let before = 0;
  return (
    <svg class="rotation" viewBox={`0 0 ${WIDE} ${ROW * PHASES.length}`} aria-hidden="true">
      {PHASES.map((phase, i) => {
        const from = LEFT + before * room;
        const wide = turning[phase] * room;
        before += turning[phase];
        const y = ROW * i;
        return (
          <g key={phase} data-phase={phase}>
            <text class="axis" x={LEFT - 8} y={y + 15} text-anchor="end">{desk.view.words.marks.phases[phase]}</text>
            <rect class={`turn ${phase}`} x={from} y={y + 4} width={Math.max(wide, 1)} height={ROW - 8} />
            {i < PHASES.length - 1 && <path class="grid" d={`M${from + wide} ${y + ROW - 4}v8`} />}
            <text class="axis" x={from + wide + 6} y={y + 15}>{write(turning[phase], "share", desk.system)}</text>
          </g>
        );
      })}
    </svg>
  );
}
