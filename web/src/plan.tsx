// The plan view: the circuit from above, for finding one's way.
import { useMemo, useRef } from "preact/hooks";
import { accountOf, heldLabel } from "./account";
import { lapName, lapOf, lengthOf, useCursor, useDesk, useWidth, type Desk } from "./desk";
import { overlap, textWidth, type Box } from "./labels";
import { at, extent, roundDown, wrap } from "./places";
import { ruleOf, write } from "./sentences";
import { aheadAt } from "./sight";
import { sheetId } from "./sheet";
import { cornerTitle } from "./topics";
import type { Corner, Landmark } from "./view";

type Point = [number, number];

interface Plan {
  width: number;
  height: number;
  metre: number;
  point: (place: number) => Point;
  points: Point[];
}

const PAD = 40;
const NUMBER = 15;
/** Height of the row below the road that holds the scale and the key, px. */
const KEY = 20;

/** Width of the plan's column on paper, px. */
const PAPER = 370;

function layoutPlan(desk: Desk, width: number, most: number): Plan {
  const { road, step_m, points } = desk.view.pictures;
  const [x0, x1] = extent([road.x]);
  const [y0, y1] = extent([road.y]);
  const metre = Math.min((width - 2 * PAD) / (x1 - x0), (most - 2 * PAD - KEY) / (y1 - y0));
  const height = Math.ceil((y1 - y0) * metre + 2 * PAD + KEY);
  const shift = (width - (x1 - x0) * metre) / 2;
  const point = (place: number): Point => [
    (at(road.x, place, step_m) - x0) * metre + shift,
    (y1 - at(road.y, place, step_m)) * metre + PAD,
  ];
  const jump = Math.max(1, Math.round(2.5 / (metre * step_m)));
  const list: Point[] = [];
  for (let i = 0; i < points; i += jump) list.push(point(i * step_m));
  return { width, height, metre, point, points: list };
}

function pathOf(points: Point[]): string {
  return points.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
}

function stretchOf(plan: Plan, desk: Desk, from: number, to: number): string {
  const long = wrap(to - from, lengthOf(desk.view));
  const count = Math.max(2, Math.round((long * plan.metre) / 2.5));
  return pathOf(Array.from({ length: count + 1 }, (_, i) => plan.point(from + (i / count) * long)));
}

/** A place beside the road for each number, free of the road and of each other. */
function placeNumbers(plan: Plan, corners: Corner[], taken: Box[]): Map<string, Point> {
  const boxes = [...taken];
  const spots = new Map<string, Point>();
  for (const corner of corners) {
    const [x, y] = plan.point(corner.apex_m);
    const [bx, by] = plan.point(corner.apex_m - 4);
    const [fx, fy] = plan.point(corner.apex_m + 4);
    const outside = Math.atan2(fy - by, fx - bx) + (corner.direction === "left" ? 1 : -1) * (Math.PI / 2);
    const w = textWidth(corner.id, NUMBER, 600) + 6;
    let best: { spot: Point; box: Box; cost: number } | null = null;
    for (const away of [19, 25, 32, 41]) {
      for (let turn = 0; turn < 12; turn++) {
        const angle = outside + ((turn % 2 ? 1 : -1) * Math.ceil(turn / 2) * Math.PI) / 6;
        const spot: Point = [x + away * Math.cos(angle), y + away * Math.sin(angle)];
        const box = { x: spot[0] - w / 2, y: spot[1] - 9, w, h: 18 };
        const cost = away / 12 + Math.ceil(turn / 2) * 0.5 + 100 * boxes.filter((b) => overlap(b, box)).length + onRoad(plan, box) * 3 + outOf(plan, box) * 100;
        if (!best || cost < best.cost) best = { spot, box, cost };
      }
    }
    boxes.push(best!.box);
    spots.set(corner.id, best!.spot);
  }
  return spots;
}

function onRoad(plan: Plan, box: Box): number {
  return plan.points.filter(
    ([x, y]) => x > box.x - 5 && x < box.x + box.w + 5 && y > box.y - 4 && y < box.y + box.h + 4,
  ).length;
}

function outOf(plan: Plan, box: Box): number {
  return box.x < 0 || box.y < 0 || box.x + box.w > plan.width || box.y + box.h > plan.height - KEY ? 1 : 0;
}

export function PlanView() {
  const desk = useDesk();
  const [element, width] = useWidth<HTMLDivElement>(PAPER);
  return (
    <figure class="plan" ref={element as { current: HTMLElement | null }}>
      {width > 0 && <PlanPicture desk={desk} width={width} />}
      {accountOf(desk) && (
        <figcaption class="soft">
          The wider the mark, the more time {lapName(desk.view, desk.shown)} lost there against {heldLabel(desk)}.
        </figcaption>
      )}
      {desk.view.pictures.sight && (
        <figcaption class="soft onscreen">
          Where the cursor stands on a corner's road, the road in view from there is drawn ahead of the dot.
        </figcaption>
      )}
    </figure>
  );
}

function PlanPicture({ desk, width }: { desk: Desk; width: number }) {
  const { view } = desk;
  const { plan, start, spots, marks, spanWorth } = useMemo(() => {
    const plan = layoutPlan(desk, width, width < 480 ? 380 : 470);
    const marks = view.pictures.landmarks.map((mark) => ({ ...mark, spot: markSpot(plan, mark) }));
    const beside = marks.map(({ spot: [x, y] }) => ({ x: x - 6, y: y - 6, w: 12, h: 12 }));
    const start = startOf(plan, beside);
    const spots = placeNumbers(plan, view.guide.corners, [start.box, ...beside]);
    return { plan, start, spots, marks, spanWorth: scaleBar(desk, plan) };
  }, [desk, width]);
  const worth = widths(desk);
  return (
    <svg viewBox={`0 0 ${plan.width} ${plan.height}`} aria-label="The circuit from above; each number leads to its corner" role="group">
      <path class="planroad" d={`${pathOf(plan.points)}Z`} />
      {view.guide.corners.map((corner) => (
        <path
          key={corner.id}
          class={worth.has(corner.id) ? "plancorner costly" : "plancorner"}
          stroke-width={5 + (worth.get(corner.id) ?? 0)}
          d={stretchOf(plan, desk, corner.start_m, corner.end_m)}
        />
      ))}
      {marks.map(({ name, spot: [x, y] }, i) => (
        <path key={i} class="landmark" d={`M${x.toFixed(1)} ${(y - 5).toFixed(1)}l4.5 8h-9Z`}>
          <title>{name}</title>
        </path>
      ))}
      <path class="startline" d={start.line} />
      <path class="driving" d={start.arrow} />
      <text class="note" x={start.text[0]} y={start.text[1]} text-anchor={start.anchor}>
        start
      </text>
      <g transform={`translate(4 ${plan.height - 12})`}>
        <path class="driving" d={`M0 -4v4h${spanWorth.pixels}v-4`} />
        <text class="note" x={spanWorth.pixels + 8} y={3}>
          {spanWorth.text}
        </text>
        {marks.length > 0 && (
          <>
            <path class="landmark" d={`M${spanWorth.pixels + 84} -6l4.5 8h-9Z`} />
            <text class="note" x={spanWorth.pixels + 94} y={3}>
              landmark, named in its corner
            </text>
          </>
        )}
      </g>
      {view.guide.corners.map((corner) => {
        const [x, y] = spots.get(corner.id)!;
        return (
          <a key={corner.id} href={`#${sheetId(corner)}`} aria-label={cornerTitle(desk, corner)} class="plannumber">
            <title>{cornerTitle(desk, corner)}</title>
            <circle cx={x} cy={y} r={13} />
            <text x={x} y={y + 5} text-anchor="middle">
              {corner.id}
            </text>
          </a>
        );
      })}
      <PlanCursor desk={desk} plan={plan} />
    </svg>
  );
}

/** How much wider each corner is drawn that lost time the data can show, px. */
function widths(desk: Desk): Map<string, number> {
  const account = accountOf(desk);
  const corners = (account?.corners ?? []).filter((c) => c.cost_s > 0 && c.rows.some((row) => row.significant));
  const most = Math.max(...corners.map((c) => c.cost_s));
  return new Map(corners.map((c) => [c.corner, (9 * c.cost_s) / most]));
}

/** Where a landmark is drawn: on its own side, never on the road's line. */
function markSpot(plan: Plan, { at_m, off_m }: Landmark): Point {
  const [x, y] = plan.point(at_m);
  const [fx, fy] = plan.point(at_m + 4);
  const [bx, by] = plan.point(at_m - 4);
  const long = Math.hypot(fx - bx, fy - by) || 1;
  const away = Math.sign(off_m || 1) * Math.max(Math.abs(off_m) * plan.metre, 10);
  return [x + ((fy - by) / long) * away, y - ((fx - bx) / long) * away];
}

interface Start {
  line: string;
  arrow: string;
  text: Point;
  anchor: "start" | "middle" | "end";
  box: Box;
}

/** The start line across the road, an arrow the way it is driven, and the word beside it. */
function startOf(plan: Plan, taken: Box[]): Start {
  const [x, y] = plan.point(0);
  const [fx, fy] = plan.point(6 / plan.metre);
  const long = Math.hypot(fx - x, fy - y) || 1;
  const [dx, dy] = [(fx - x) / long, (fy - y) / long];
  const best = [1, -1]
    .map((side) => {
      const [nx, ny] = [-dy * side, dx * side];
      const anchor = nx > 0.5 ? ("start" as const) : nx < -0.5 ? ("end" as const) : ("middle" as const);
      const text: Point = [x + nx * 17, y + ny * 19 + 4];
      const left = anchor === "start" ? text[0] : anchor === "end" ? text[0] - 32 : text[0] - 16;
      const box = { x: left - 4, y: text[1] - 13, w: 72, h: 18 };
      return { nx, ny, anchor, text, box, cost: onRoad(plan, box) + 50 * outOf(plan, box) + 20 * taken.filter((b) => overlap(b, box)).length };
    })
    .sort((a, b) => a.cost - b.cost)[0]!;
  const { nx, ny } = best;
  const [ax, ay] = [x + nx * 11 + dx * 10, y + ny * 11 + dy * 10];
  const [tx, ty] = [ax + dx * 24, ay + dy * 24];
  const barb = (side: number) => `L${tx - dx * 7 + nx * 4.5 * side} ${ty - dy * 7 + ny * 4.5 * side}`;
  return {
    ...best,
    line: `M${x - nx * 8} ${y - ny * 8}L${x + nx * 8} ${y + ny * 8}`,
    arrow: `M${ax} ${ay}L${tx} ${ty}M${tx} ${ty}${barb(1)}M${tx} ${ty}${barb(-1)}`,
  };
}

function scaleBar(desk: Desk, plan: Plan): { pixels: number; text: string } {
  const { factor } = ruleOf("distance", desk.system);
  const widest = (110 / plan.metre) * factor;
  const round = roundDown(widest);
  return { pixels: (round / factor) * plan.metre, text: write(round / factor, "distance", desk.system) };
}

function PlanCursor({ desk, plan }: { desk: Desk; plan: Plan }) {
  const dot = useRef<SVGCircleElement>(null);
  const seen = useRef<SVGPathElement>(null);
  useCursor((place) => {
    const [x, y] = plan.point(place);
    dot.current?.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
    const ahead = aheadAt(desk.view, place);
    seen.current?.setAttribute("d", ahead > 0 ? stretchOf(plan, desk, place, place + ahead) : "");
  });
  return (
    <g>
      <path ref={seen} class="planseen" d="" data-part="seen" />
      <circle ref={dot} class={lapOf(desk, desk.shown) ? "dot this" : "dot"} r={6} transform="translate(-99 -99)" data-part="plan" />
    </g>
  );
}
