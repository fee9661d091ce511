// The road ribbon: the road unrolled, its true width magnified across, laps along it, words on it.
import { accountOf, lostAt } from "./account";
import { Breaches, HiddenRoad, RoadLeft } from "./details-picture";
import { isLapKey, lapOf, type Desk } from "./desk";
import { NOTE, TITLE, type Flag } from "./flags";
import { tracePath } from "./frame";
import { usePicked } from "./picks";
import { at, timeAt, timeTicks } from "./places";
import { inFrame, railY, spanPlaces, wordsTop, type RibbonLayout } from "./ribbon-layout";
import type { Span } from "./view";
import { CombPicture, LoadPicture, roadBetween, stretchIn } from "./worth";

export function Ribbon({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  return (
    <g>
      <RoadSurface desk={desk} layout={layout} />
      <HiddenRoad desk={desk} layout={layout} />
      <LoadPicture desk={desk} layout={layout} />
      <PickedPlace desk={desk} layout={layout} />
      <CombPicture desk={desk} layout={layout} />
      <OtherLaps desk={desk} layout={layout} />
      <ChosenLaps desk={desk} layout={layout} />
      <RoadLeft desk={desk} layout={layout} />
      <Breaches desk={desk} layout={layout} />
      <Gutter layout={layout} />
      <Rails layout={layout} side="above" />
      <Rails layout={layout} side="below" />
      {layout.flags.map((flag) => (
        <FlagMark key={flag.key} desk={desk} layout={layout} flag={flag} />
      ))}
    </g>
  );
}

function RoadSurface({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, list, y } = layout;
  const { road, spans } = desk.view.pictures;
  const surveyed = desk.view.guide.circuit.surveyed;
  const edge = surveyed ? "edge" : "edge unsurveyed";
  return (
    <g>
      <path
        class="road"
        d={roadBetween(desk, layout, -Infinity, Infinity)}
      />
      {spans.filter((s) => inFrame(frame, s)).map((span, i) => (
        <SpanShape key={i} layout={layout} span={span} />
      ))}
      <path class={edge} d={tracePath(frame, list, road.left, y)} />
      <path class={edge} d={tracePath(frame, list, road.right, (v) => y(-v))} />
      {surveyed ? null : (
        <text class="note halo" x={frame.right - 4} y={layout.roadTop + 14} text-anchor="end">
          edges not surveyed: the road seen in use
        </text>
      )}
    </g>
  );
}

function SpanShape({ layout, span }: { layout: RibbonLayout; span: Span }) {
  const { frame, y } = layout;
  const [from, to] = spanPlaces(frame, span);
  const a = frame.x(Math.max(from, frame.from));
  const b = frame.x(Math.min(to, frame.to));
  return (
    <rect
      class={span.kind}
      x={a}
      y={y(span.left_m)}
      width={Math.max(b - a, 1)}
      height={Math.max(y(span.right_m) - y(span.left_m), 2)}
    />
  );
}

function OtherLaps({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const others = desk.view.guide.laps.filter(
    (row) => row.used && row.id !== desk.shown && row.id !== desk.against,
  );
  const sparse = layout.list.filter((_, i) => i % 2 === 0);
  const lines = others.map((row) => {
    const lap = lapOf(desk, row.id);
    return lap ? tracePath(layout.frame, sparse, lap.n, layout.y) : "";
  });
  return <path class="lap other" d={lines.join("")} />;
}

function ChosenLaps({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, list, y } = layout;
  const shown = lapOf(desk, desk.shown);
  const against = lapOf(desk, desk.against);
  const possible = desk.view.pictures.possible;
  return (
    <g>
      {possible && <path class="lap possible" d={tracePath(frame, list, possible.n, y)} />}
      {against && <path class="lap against" d={tracePath(frame, list, against.n, y)} />}
      {shown && <path class="lap under" d={tracePath(frame, list, shown.n, y)} />}
      {shown && <path class="lap this" d={tracePath(frame, list, shown.n, y)} />}
      {shown && <TimeTicks desk={desk} layout={layout} />}
    </g>
  );
}

/** Time that one tick on the lap's line stands for, s. */
export const TICK = 0.05;

/** Seconds lost up to a place: by the ledger where it keeps the account, or against the other lap. */
export function lostOf(desk: Desk): ((place: number) => number) | null {
  const step = desk.view.pictures.step_m;
  const account = accountOf(desk);
  if (account?.lost_s?.length) return (place) => lostAt(account, account.lost_s!, place, step);
  const [shown, against] = [lapOf(desk, desk.shown), lapOf(desk, desk.against)];
  // Without an account of it, a time lost can only be told against a lap.
  if (!shown || !against || shown === against || desk.held === null || !isLapKey(desk.held)) return null;
  return (place) => timeAt(shown, place, step) - timeAt(against, place, step);
}

function TimeTicks({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, y } = layout;
  const shown = lapOf(desk, desk.shown)!;
  const lost = lostOf(desk);
  if (!lost) return null;
  const step = desk.view.pictures.step_m;
  const ticks = timeTicks(lost, frame.from, frame.to, step, TICK);
  return (
    <g>
      {ticks.map(({ place, sign }) => {
        const n = at(shown.n, place, step);
        return Number.isNaN(n) ? null : (
          <rect
            key={`${place} ${sign}`}
            class={sign > 0 ? "tick lost" : "tick won"}
            x={frame.x(place) - 1.5}
            y={y(n) - 7}
            width={3}
            height={14}
          />
        );
      })}
    </g>
  );
}

/** The stretch in which the picked cause happened. */
function PickedPlace({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, roadTop, roadBottom } = layout;
  const row = usePicked(frame.corner.id);
  if (!row || row.from_m === null || row.to_m === null) return null;
  const [from, to] = stretchIn(frame, row.from_m, row.to_m);
  const [a, b] = [Math.max(from, frame.from), Math.min(to, frame.to)].map(frame.x) as [number, number];
  if (b <= a) return null;
  return (
    <g class="pickedplace">
      <path d={roadBetween(desk, layout, from, to)} />
      <path class="bracket" d={`M${a} ${roadTop - 5}V${roadBottom + 5}M${b} ${roadTop - 5}V${roadBottom + 5}`} />
    </g>
  );
}

function Gutter({ layout }: { layout: RibbonLayout }) {
  const { frame, roadTop, roadBottom } = layout;
  const x = frame.left - 8;
  const middle = (roadTop + roadBottom) / 2;
  if (frame.narrow) return null;
  return (
    <g>
      <text class="note" x={x} y={roadTop + 16} text-anchor="end">
        left edge
      </text>
      <path class="driving" d={`M${x - 40} ${middle}H${x - 4}m-7 -4.5l7 4.5l-7 4.5`} />
      <text class="note" x={x} y={roadBottom - 8} text-anchor="end">
        right edge
      </text>
    </g>
  );
}

/** Beside the road, for each action: every lap's place, and the spread about the usual one. */
function Rails({ layout, side }: { layout: RibbonLayout; side: "above" | "below" }) {
  const { frame } = layout;
  return (
    <g>
      {layout.flags.map((flag) => {
        const level = flag.side === side ? layout[side].levels.get(flag.key) : undefined;
        if (level === undefined || flag.median === null) return null;
        const y = railY(layout, side, level);
        const [a, b] = [flag.median - (flag.spread ?? 0), flag.median + (flag.spread ?? 0)].map(frame.x);
        return (
          <g key={flag.key}>
            <path class="lapplace" d={flag.laps.map((place) => `M${frame.x(place).toFixed(1)} ${y - 3}v6`).join("")} />
            {flag.spread !== null && <path class="spread" d={`M${a} ${y}H${b}M${a} ${y - 3.5}v7M${b} ${y - 3.5}v7`} />}
          </g>
        );
      })}
    </g>
  );
}

function FlagMark({ desk, layout, flag }: { desk: Desk; layout: RibbonLayout; flag: Flag }) {
  const { y } = layout;
  const shown = lapOf(desk, desk.shown);
  const n = flag.off ?? (shown ? at(shown.n, flag.place, desk.view.pictures.step_m) : 0);
  const onRoad = clamp(y(Number.isNaN(n) ? 0 : n), layout.roadTop - 9, layout.roadBottom + 9);
  const tall = flag.lines.length * (TITLE + 3) + flag.notes.length * (NOTE + 3);
  const textTop = wordsTop(layout, flag, tall);
  const end = flag.side === "above" ? textTop : textTop + tall;
  const x = flag.reach === "right" ? flag.x + 6 : flag.x - 6;
  const anchor = flag.reach === "right" ? "start" : "end";
  return (
    <g class={`flag ${flag.tone}`} data-action={flag.key}>
      <path class="pole" d={`M${flag.x} ${onRoad}V${end}`} />
      <Mark desk={desk} layout={layout} flag={flag} y={onRoad} />
      {flag.lines.map((line, i) => (
        <text key={i} class="title" x={x} y={textTop + (i + 1) * (TITLE + 3) - 4} text-anchor={anchor}>
          {line}
        </text>
      ))}
      {flag.notes.map((line, i) => (
        <text
          key={i}
          class="note"
          x={x}
          y={textTop + flag.lines.length * (TITLE + 3) + (i + 1) * (NOTE + 3) - 4}
          text-anchor={anchor}
        >
          {line}
        </text>
      ))}
    </g>
  );
}

function Mark({ desk, layout, flag, y }: { desk: Desk; layout: RibbonLayout; flag: Flag; y: number }) {
  if (flag.key.startsWith("patch")) return null;
  if (flag.key.startsWith("load")) return <LoadMark x={flag.x} y={y} kind={flag.key.endsWith("pressed") ? "pressed" : "light"} />;
  if (flag.tone === "beside") {
    return <path class="landmark" d={`M${flag.x} ${y - 5}l5 9h-10Z`} />;
  }
  const against = lapOf(desk, desk.against);
  const { frame } = layout;
  const beside = against && flag.other !== null && flag.other > frame.from && flag.other < frame.to;
  const n = beside ? at(against.n, flag.other!, desk.view.pictures.step_m) : NaN;
  return (
    <g>
      {Number.isNaN(n) ? null : (
        <rect
          class="mark against"
          x={-3}
          y={-3}
          width={6}
          height={6}
          transform={`translate(${frame.x(flag.other!).toFixed(1)} ${layout.y(n).toFixed(1)}) rotate(45)`}
        />
      )}
      <circle class="mark this" cx={flag.x} cy={y} r={4.5} />
    </g>
  );
}

/** An arrowhead down where the car is pressed on the road, one upwards and hollow where it goes light. */
function LoadMark({ x, y, kind }: { x: number; y: number; kind: "pressed" | "light" }) {
  const sign = kind === "pressed" ? 1 : -1;
  return <path class={`loadmark ${kind}`} d={`M${x} ${y + 6 * sign}l-5.5 ${-10 * sign}h11Z`} />;
}

function clamp(value: number, low: number, high: number): number {
  return Math.min(Math.max(value, low), high);
}
