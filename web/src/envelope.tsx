// The envelope: the highest accelerations of the laps over speed, the fit, its interval, and where it is a guess.
import type { Desk } from "./desk";
import { extent, niceTicks } from "./places";
import { bare, ruleOf, write } from "./sentences";
import type { Direction, Envelope } from "./view";

const PANELS: { key: Direction; title: string }[] = [
  { key: "lateral", title: "cornering" },
  { key: "brake", title: "braking" },
  { key: "drive", title: "drive" },
];
const TALL = 250;
const [LEFT, RIGHT, TOP, FOOT] = [34, 10, 26, 38];

interface Props {
  desk: Desk;
  envelope: Record<Direction, Envelope | null | undefined>;
  width: number;
}

export function EnvelopePicture({ desk, envelope, width }: Props) {
  const known = PANELS.filter(({ key }) => envelope[key]);
  if (!known.length) return null;
  const beside = width >= 660 ? known.length : 1;
  const wide = Math.floor((width - 24 * (beside - 1)) / beside);
  const shown = known.map(({ key }) => envelope[key]!);
  const intervals = shown.some((one) => one.low && one.low.some((v, i) => v !== null && v !== one.value[i]));
  const [, fastest] = extent(shown.flatMap((one) => [one.speed, one.points.map((p) => p[0])]));
  const highest = Math.max(...shown.map(topOf));
  return (
    <figure class="envelope">
      <figcaption>
        How hard the car was driven at each speed, in {ruleOf("acceleration", desk.system).unit}. What these laps showed
        is a lower bound of what the car can do.
      </figcaption>
      <ul class="key" aria-label="key to the envelope">
        <Item text="the laps' highest"><circle class="lapdot" cx="7" cy="9" r="2" /><circle class="lapdot" cx="14" cy="5" r="2" /><circle class="lapdot" cx="21" cy="8" r="2" /></Item>
        <Item text="limit, at speeds that the laps show"><path class="limit" d="M0 7H28" /></Item>
        <Item text="limit carried on, shown by no lap"><path class="limit guess" d="M0 7H28" /></Item>
        {intervals && <Item text="90 % interval"><rect class="limitband" x="0.5" y="1.5" width="27" height="11" /></Item>}
      </ul>
      <div class="panels">
        {known.map(({ key, title }) => (
          <Panel key={key} desk={desk} title={title} one={envelope[key]!} width={wide} fastest={fastest} highest={highest} />
        ))}
      </div>
    </figure>
  );
}

function Item({ text, children }: { text: string; children: preact.ComponentChildren }) {
  return (
    <li>
      <svg class="sample" width="28" height="14" viewBox="0 0 28 14" aria-hidden="true">{children}</svg>
      {text}
    </li>
  );
}

function topOf(one: Envelope): number {
  const values = [...one.value, ...(one.high ?? []), ...one.points.map((p) => p[1])];
  return Math.max(...values.filter((v): v is number => v !== null));
}

interface PanelProps {
  desk: Desk;
  title: string;
  one: Envelope;
  width: number;
  fastest: number;
  highest: number;
}

function Panel({ desk, title, one, width, fastest, highest }: PanelProps) {
  const most = 1.05 * highest;
  const x = (v: number) => LEFT + (v / fastest) * (width - LEFT - RIGHT);
  const y = (a: number) => TALL - FOOT - (a / most) * (TALL - FOOT - TOP);
  const speed = ruleOf("speed", desk.system);
  const force = ruleOf("acceleration", desk.system);
  return (
    <svg viewBox={`0 0 ${width} ${TALL}`} width={width} role="img" aria-label={panelWords(desk, title, one)}>
      <text class="title" x={LEFT} y={14}>{title}</text>
      {niceTicks(0, most * force.factor, 5).map((tick) => (
        <g key={tick}>
          <path class={tick === 0 ? "grid zero" : "grid"} d={`M${LEFT} ${y(tick / force.factor)}H${width - RIGHT}`} />
          <text class="axis" x={LEFT - 7} y={y(tick / force.factor) + 4} text-anchor="end">{tick}</text>
        </g>
      ))}
      {niceTicks(0, fastest * speed.factor, width / 90).map((tick) => (
        <text key={tick} class="axis" x={x(tick / speed.factor)} y={TALL - FOOT + 17} text-anchor="middle">{tick}</text>
      ))}
      <text class="axis" x={width - RIGHT} y={TALL - 5} text-anchor="end">speed, {speed.unit}</text>
      <path class="limitband" d={bandOf(one, x, y)} />
      <path class="lapdots small" d={one.points.map(([v, a]) => `M${x(v).toFixed(1)} ${y(a).toFixed(1)}h0`).join("")} />
      {runs(one).map(({ supported, from, to }, i) => (
        <path key={i} class={supported ? "limit" : "limit guess"} d={lineOf(one, from, to, x, y)} />
      ))}
    </svg>
  );
}

type Scale = (v: number) => number;

/** Stretches of speed that are shown, or are not, by turns; neighbours share their end. */
function runs(one: Envelope): { supported: boolean; from: number; to: number }[] {
  const found: { supported: boolean; from: number; to: number }[] = [];
  for (let i = 0; i + 1 < one.speed.length; i++) {
    const supported = Boolean(one.supported[i] && one.supported[i + 1]);
    const last = found[found.length - 1];
    if (last && last.supported === supported) last.to = i + 1;
    else found.push({ supported, from: i, to: i + 1 });
  }
  return found;
}

function lineOf(one: Envelope, from: number, to: number, x: Scale, y: Scale): string {
  let path = "";
  for (let i = from; i <= to; i++) {
    const value = one.value[i];
    if (value == null) continue;
    path += `${path ? "L" : "M"}${x(one.speed[i]!).toFixed(1)} ${y(Math.max(value, 0)).toFixed(1)}`;
  }
  return path;
}

function bandOf({ speed, low, high }: Envelope, x: Scale, y: Scale): string {
  if (!low || !high) return "";
  const known = speed.map((_, i) => i).filter((i) => low[i] != null && high[i] != null);
  if (known.length < 2) return "";
  const point = (i: number, v: number) => `${x(speed[i]!).toFixed(1)} ${y(Math.max(v, 0)).toFixed(1)}`;
  const top = known.map((i) => point(i, high[i]!));
  const back = known.reverse().map((i) => point(i, low[i]!));
  return `M${[...top, ...back].join("L")}Z`;
}

function panelWords(desk: Desk, title: string, one: Envelope): string {
  const shown = one.speed.map((_, i) => i).filter((i) => one.supported[i] && one.value[i] != null);
  const [a, b] = [shown[0], shown[shown.length - 1]];
  if (a === undefined || b === undefined) return `${title}: shown at no speed by these laps`;
  const at = (i: number) =>
    `${write(one.value[i], "acceleration", desk.system)} at ${bare(one.speed[i]!, "speed", desk.system)} ${ruleOf("speed", desk.system).unit}`;
  return `${title}: ${at(a)} to ${at(b)}, as these laps show`;
}
