// The lines under the road, and what they mark on its surface.
import { lengthOf, type Desk } from "./desk";
import { breachesIn, LINE, wheelsLeft, type PlacedDetail } from "./details";
import type { Frame } from "./frame";
import { at, near } from "./places";
import type { RibbonLayout } from "./ribbon-layout";
import { hiddenFrom, seenIn } from "./sight";
import type { RoadPart } from "./view";
import { roadBetween, stretchIn } from "./worth";

/** Road that is hidden from where the corner is prepared. */
export function HiddenRoad({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const from = hiddenFrom(seenIn(desk, layout.frame), layout.frame);
  if (from === null) return null;
  const x = layout.frame.x(from);
  return (
    <g class="hidden" data-part="hidden">
      <path class="veil" d={roadBetween(desk, layout, from, Infinity)} />
      <path class="horizon" d={`M${x} ${layout.roadTop}V${layout.roadBottom}`} />
    </g>
  );
}

/** Beside the edge: where the followed lap was past the bound; hollow where that is not sure. */
export function Breaches({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, y } = layout;
  const { road, step_m } = desk.view.pictures;
  return (
    <g>
      {breachesIn(desk, frame).map(({ side, start_m, end_m, sure }, i) => {
        const [from, to] = stretchIn(frame, start_m, end_m);
        const [a, b] = [frame.x(Math.max(from, frame.from)), frame.x(Math.min(to, frame.to))];
        const edge = at(side === "left" ? road.left : road.right, (from + to) / 2, step_m);
        const top = side === "left" ? y(edge) - 6 : y(-edge);
        return <rect key={i} class={sure ? "over" : "over perhaps"} x={a} y={top} width={Math.max(b - a, 4)} height={6} />;
      })}
    </g>
  );
}

const PARTS: [RoadPart, action: string, otherwise: "start_m" | "apex_m" | "end_m"][] = [
  ["entry", "turn_in_m", "start_m"],
  ["apex", "apex_m", "apex_m"],
  ["exit", "", "end_m"],
];

/** From the edge inwards: the road that is left at entry, apex and exit; broken where it is worth nothing. */
export function RoadLeft({ desk, layout }: { desk: Desk; layout: RibbonLayout }) {
  const { frame, y } = layout;
  const { corner } = frame;
  const { road, step_m } = desk.view.pictures;
  return (
    <g>
      {PARTS.map(([part, action, otherwise]) => {
        const use = corner.road_use?.[part];
        const place = near(corner.actions[action]?.median ?? corner[otherwise], corner.apex_m, lengthOf(desk.view));
        if (!use || place < frame.from || place > frame.to) return null;
        const left = (use.side === "inside") === (corner.direction === "left");
        const edge = (left ? 1 : -1) * at(left ? road.left : road.right, place, step_m);
        const [a, b] = [y(edge), y(edge - (left ? 1 : -1) * use.left_m)];
        const x = frame.x(place);
        return <path key={part} class={use.verdict === "leave it" ? "roadleft nothing" : "roadleft"} data-part={`left-${part}`} d={`M${x} ${a}V${b}M${x - 5} ${b}h10`} />;
      })}
    </g>
  );
}

export function Details({ layout, placed, top }: { layout: RibbonLayout; placed: PlacedDetail[]; top: number }) {
  const { frame } = layout;
  return (
    <g class="details" transform={`translate(0 ${top})`}>
      {placed.map((one, i) => (
        <g key={i} data-detail={one.glyph}>
          {!frame.narrow && one.group !== placed[i - 1]?.group && (
            <text class="note" x={frame.left - 8} y={one.y + 4} text-anchor="end">{one.group}</text>
          )}
          <DetailMark frame={frame} one={one} />
          {one.lines.map((line, k) => (
            <text key={k} class="note" x={one.textX} y={one.textY + k * LINE} text-anchor={one.anchor}>{line}</text>
          ))}
        </g>
      ))}
    </g>
  );
}

function DetailMark({ frame, one }: { frame: Frame; one: PlacedDetail }) {
  if (one.from === null || one.to === null) return null;
  const a = frame.x(Math.max(one.from, frame.from));
  const b = frame.x(Math.min(Math.max(one.to, frame.from), frame.to));
  const { y } = one;
  const long = Math.max(b - a, 3);
  switch (one.glyph) {
    case "seen":
      return (
        <g>
          {b > a && <rect class="inview" x={a} y={y - 4} width={b - a} height={8} />}
          {one.hidden != null && <rect class="outofview" x={b} y={y - 4} width={Math.max(frame.right - b, 1)} height={8} />}
        </g>
      );
    case "kerb":
      return (
        <g>
          <rect class="kerb" x={a} y={y - 4} width={long} height={8} />
          <Wheels x={wheelsLeft(one, frame) ? a - 22 : b + 6} y={y} wheels={one.wheels ?? []} />
        </g>
      );
    case "over":
      return <rect class="over" x={a} y={y - 3} width={long} height={6} />;
    case "overperhaps":
      return <rect class="over perhaps" x={a} y={y - 3} width={long} height={6} />;
    default:
      return <path class={`glyph ${one.glyph}`} d={`M${a} ${y}${SHAPES[one.glyph] ?? ""}`} />;
  }
}

/** A stake, a gauge's needle, two posts in line, an eye's wedge, the author's pennant, a cross for the edge. */
const SHAPES: Partial<Record<PlacedDetail["glyph"], string>> = {
  place: "m0 -6v12m-4 0h8",
  state: "m-5 4l9 -8m-9 8h10",
  alignment: "m-4 -5v10m4 -8v8m4 -5v5",
  view: "m5 -5l-10 5l10 5",
  chosen: "m-3 6v-12l8 4l-8 4",
  room: "m-5 -5l10 10m0 -10l-10 10",
};

/** The four wheels from above, driven to the right; filled where they are on the kerb. */
function Wheels({ x, y, wheels }: { x: number; y: number; wheels: string[] }) {
  const spots: [string, number, number][] = [
    ["rear left", 0, -5], ["front left", 9, -5], ["rear right", 0, 2], ["front right", 9, 2],
  ];
  return (
    <g class="wheels">
      {spots.map(([name, dx, dy]) => (
        <rect key={name} class={wheels.includes(name) ? "wheel on" : "wheel"} x={x + dx} y={y + dy} width={6} height={3} />
      ))}
    </g>
  );
}
