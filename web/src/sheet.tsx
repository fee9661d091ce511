// A corner sheet: title, why, the corner from above, instructions, ribbon, strips, actions.
import { ReadAloud } from "./aloud";
import { useMemo, useRef } from "preact/hooks";
import { cornerAccount, heldLabel } from "./account";
import { AccountBlock } from "./account-block";
import { ActionTable } from "./actions";
import { Cursor, spoken } from "./cursor";
import { complexOf, cornerLap, cursor, DeskContext, hoverCursor, lapName, moveCursor, useCursor, useDesk, usePaper, useWidth, type Desk } from "./desk";
import { makeFlags, type Flag } from "./flags";
import { makeFrame, samples, type Frame } from "./frame";
import { Inset } from "./inset";
import { layoutDetails, listDetails } from "./details";
import { Details } from "./details-picture";
import { textWidth } from "./labels";
import { near, niceTicks } from "./places";
import { lostOf, Ribbon, TICK } from "./ribbon";
import { layoutRibbon } from "./ribbon-layout";
import { ruleOf, say, write } from "./sentences";
import { layoutStrips, StripPicture } from "./strips";
import { hiddenFrom, seenIn } from "./sight";
import { cornerTitle, Topics, topicTitle } from "./topics";
import type { Corner } from "./view";
import { combWords, hasTeeth, loadStretches } from "./worth";

/** Width at which a ribbon is laid out for paper, px: that of A4 within its margins, so that 12 px are 9 pt. */
const PAPER = 700;

export function sheetId(corner: Corner): string {
  return `corner-${corner.id}`;
}

export function Sheet({ corner }: { corner: Corner }) {
  const whole = useDesk();
  const desk = useMemo(() => deskIn(whole, corner), [whole, corner]);
  const [element, width] = useWidth<HTMLElement>(PAPER);
  const words = desk.view.words.corners[corner.id];
  const paper = usePaper();
  const frame = useMemo(() => (width ? makeFrame(desk.view, corner, width, paper) : null), [desk.view, corner, width, paper]);
  const flags = useMemo(() => (frame ? makeFlags(desk, frame) : []), [desk, frame]);
  // On paper the words run round it, and so it comes first.
  const above = (
    <figure class="above">
      {frame && <Inset desk={desk} frame={frame} flags={flags} width={frame.narrow ? width : ABOVE} most={frame.narrow ? 220 : 330} />}
    </figure>
  );
  return (
    <DeskContext.Provider value={desk}>
    <section class="sheet" id={sheetId(corner)} aria-labelledby={`${sheetId(corner)}-title`}>
      <div class="sheettop">
        {paper && above}
        <div>
          <h2 id={`${sheetId(corner)}-title`} tabIndex={-1}>
            {cornerTitle(desk, corner)}
          </h2>
          <p class="meta">{meta(desk, corner)}</p>
          <ReadAloud corner={corner} />
          {words?.why && <p class="why">{say(words.why, desk.system)}</p>}
          {words && words.instructions.length > 0 && <p class="over">{overLaps(desk)}</p>}
          <ol class="orders">
            {words?.instructions.map((order, i) => <li key={i}>{say(order, desk.system)}</li>)}
          </ol>
          <CanDo desk={desk} corner={corner} />
        </div>
        {!paper && above}
      </div>
      {width > 0 && <AccountBlock desk={desk} corner={corner} width={width} />}
      <Key desk={desk} frame={frame} />
      <div class="picture" ref={element as { current: HTMLDivElement | null }}>
        {frame && <Picture desk={desk} frame={frame} flags={flags} />}
      </div>
      {!paper && words?.spread_note && <p class="spreadnote">{say(words.spread_note, desk.system)}</p>}
      {!paper && <Topics desk={desk} corner={corner} />}
      <ActionTable corner={corner} />
      {corner.notes.length > 0 && (
        <aside class="notes" aria-label="the author's notes">
          {corner.notes.map((note, i) => <p key={i}>{note}</p>)}
        </aside>
      )}
    </section>
    </DeskContext.Provider>
  );
}

/** Held against one's own best, the lap beside is the one that was best in this corner. */
function deskIn(desk: Desk, corner: Corner): Desk {
  const against = cornerAccount(desk, corner.id)?.corner.against_lap ?? desk.against;
  return against === desk.against || against === desk.shown ? desk : { ...desk, against };
}

/** Width of the corner from above, px; guide.css keeps a column of it. */
const ABOVE = 460;

/** What road is worth here, how near to flat it is, what the road does to the car. */
function CanDo({ desk, corner }: { desk: Desk; corner: Corner }) {
  const said = desk.view.words.corners[corner.id]?.possible ?? [];
  if (!said.length) return null;
  return (
    <div class="cando">
      <h3>{topicTitle(desk, "possible")}</h3>
      {said.map((text, i) => <p key={i}>{say(text, desk.system)}</p>)}
    </div>
  );
}

/** Whose figures the sentences give: the pictures follow one lap. */
function overLaps({ view, shown }: Desk): string {
  const used = view.guide.laps.filter((lap) => lap.used).length;
  const picture = `The picture follows ${lapName(view, shown)}.`;
  if (used < 2) return `One lap counts. ${picture}`;
  return used < 3 ? `The middle of two laps. ${picture}` : `The middle of ${used} laps, and how it repeats. ${picture}`;
}

/** What a corner's kind says of the laps. */
const KINDS: Record<string, string> = {
  braked: "braked for",
  lifted: "lifted for, not braked",
  flat: "neither braked nor lifted for",
};

function meta(desk: Desk, corner: Corner): string {
  const time = (id: string | null) => {
    const seconds = cornerLap(desk.view, corner.id, id)?.time_s;
    return seconds == null ? "no time here" : write(seconds, "time", desk.system);
  };
  const others = complexOf(desk.view, corner).filter((c) => c.id !== corner.id);
  const parts = [
    KINDS[corner.kind] ?? corner.kind,
    `${lapName(desk.view, desk.shown)}: ${time(desk.shown)}` +
      (desk.against === null ? "" : `, ${lapName(desk.view, desk.against)}: ${time(desk.against)}`),
  ];
  if (others.length) parts.push(`one complex with ${others.map((c) => c.id).join(" and ")}`);
  return parts.join(" · ");
}

/** Marks that paper explains once, behind the corners. */
const ONCE = ["band", "spread", "lost", "won", "comb", "pressed", "light", "roadleft"];

/** What the marks of a ribbon are: those in a frame, or all that the guide can draw. */
export function Key({ desk, frame, all = false }: { desk: Desk; frame: Frame | null; all?: boolean }) {
  const many = desk.view.guide.laps.filter((lap) => lap.used).length >= 10;
  const compare = desk.against !== null && desk.against !== desk.shown;
  const lost = lostOf(desk) !== null;
  const list = frame ? samples(frame) : [];
  const loads = frame ? loadStretches(frame, list).map((one) => one.kind) : [];
  const seen = frame ? seenIn(desk, frame) : null;
  const hidden = frame !== null && hiddenFrom(seen, frame) !== null;
  const { possible } = desk.view.pictures;
  const loaded = (kind: "pressed" | "light") => loads.includes(kind) || (all && !!possible?.load);
  const teeth = (all && !!possible) || frame !== null && (hasTeeth(frame, list, "left") || hasTeeth(frame, list, "right"));
  return (
    <ul class="key" aria-label="key">
      <Item sample="this" text={lapName(desk.view, desk.shown)} />
      {compare && <Item sample="against" text={`against: ${lapName(desk.view, desk.against)}, and where it does the same`} />}
      <Item sample="other" text="other laps" />
      <Item sample="band" text={many ? "8 laps in 10" : "all laps"} />
      <Item sample="spread" text="spread and each lap's own place" />
      {possible && <Item sample="possible" text="fastest line, computed: nobody has driven it" />}
      {lost && <Item sample="lost" text={`${TICK} s lost against ${heldLabel(desk)}`} />}
      {lost && <Item sample="won" text={`${TICK} s gained`} />}
      {teeth && <Item sample="comb" text={combWords(desk)} />}
      {loaded("pressed") && <Item sample="pressed" text="the road presses the car down" />}
      {loaded("light") && <Item sample="light" text="the car goes light" />}
      {hidden && <Item sample="hidden" text={`hidden from ${seen!.eye.name}`} />}
      {(all || frame?.corner.road_use) && <Item sample="roadleft" text="road left; broken: worth nothing" />}
      {desk.view.pictures.spans.some((s) => s.kind === "kerb") && <Item sample="kerb" text="kerb" />}
      {frame && <li class="scale">{scaleText(desk, frame)}</li>}
    </ul>
  );
}

function Item({ sample, text }: { sample: string; text: string }) {
  return (
    <li class={ONCE.includes(sample) ? "once" : undefined}>
      <svg class="sample" width="28" height="14" viewBox="0 0 28 14" aria-hidden="true">
        {SAMPLES[sample]}
      </svg>
      {text}
    </li>
  );
}

const SAMPLES: Record<string, preact.JSX.Element> = {
  this: <path class="lap this" d="M0 7H28" />,
  against: <><path class="lap against" d="M0 7H28" /><path class="mark against" d="M14 3l4 4l-4 4l-4 -4Z" /></>,
  other: <g class="lap other"><path d="M0 4H28M0 7.5H28M0 11H28" /></g>,
  band: <rect class="band" x="0.5" y="1.5" width="27" height="11" />,
  spread: <><path class="lapplace" d="M6 4v6M11 4v6M13 4v6M18 4v6M23 4v6" /><path class="spread" d="M8 7H21M8 3.5v7M21 3.5v7" /></>,
  lost: <rect class="tick lost" x="12" y="0" width="3" height="14" />,
  possible: <path class="lap possible" d="M0 7H28" />,
  comb: <path class="comb" d="M3 13v-3M8 13v-6M13 13v-10M18 13v-12M23 13v-7" />,
  pressed: <><rect class="load pressed" x="0" y="0" width="28" height="14" /><path class="loadmark pressed" d="M14 12l-5 -9h10Z" /></>,
  light: <><rect class="load light" x="0" y="0" width="28" height="14" /><path class="loadmark light" d="M14 2l-5 9h10Z" /></>,
  hidden: <><rect class="road" x="0" y="0" width="28" height="14" /><rect class="veil" x="0" y="0" width="28" height="14" /></>,
  roadleft: <><path class="roadleft" d="M9 1V11M4 11h10" /><path class="roadleft nothing" d="M21 1V11M16 11h10" /></>,
  won: <rect class="tick won" x="12" y="0.5" width="3" height="13" />,
  kerb: <rect class="kerb" x="1" y="2.5" width="26" height="9" />,
};

function scaleText(desk: Desk, frame: Frame): string {
  const layout = layoutRibbon(desk, frame, [], 0);
  return `the road's width drawn ${layout.magnified.toFixed(1)} times its length's scale`;
}

const AXIS = 40;
/** Room between ribbon and strips for the cursor's place. */
const READING = 36;

function Picture({ desk, frame, flags }: { desk: Desk; frame: Frame; flags: Flag[] }) {
  const { layout, said, details, strips, bottom } = useMemo(() => {
    const layout = layoutRibbon(desk, frame, flags, 4);
    const said = frame.paper ? [] : listDetails(desk, frame);
    const details = layoutDetails(said, frame);
    const strips = layoutStrips(desk, frame, layout.list, layout.height + details.height + (frame.paper ? 0 : READING));
    return { layout, said, details: details.placed, strips, bottom: strips[strips.length - 1]!.bottom + 10 };
  }, [desk, frame, flags]);
  const slider = useRef<HTMLDivElement>(null);
  const follow = (event: PointerEvent) => {
    const box = (event.currentTarget as Element).getBoundingClientRect();
    const move = event.buttons ? moveCursor : hoverCursor;
    move(frame.place(((event.clientX - box.left) / box.width) * frame.width));
  };
  useCursor((place) => {
    const here = near(place, (frame.from + frame.to) / 2, desk.view.pictures.points * desk.view.pictures.step_m);
    if (document.activeElement !== slider.current) return;
    slider.current?.setAttribute("aria-valuenow", String(Math.round(here - frame.corner.apex_m)));
    slider.current?.setAttribute("aria-valuetext", spoken(desk, frame, strips, here));
  });
  const height = bottom + (frame.paper ? AXIS - 6 : AXIS);
  return (
    <>
    <div
      class="slider"
      ref={slider}
      style={{ "--tall": `${height}px` }}
      role="slider"
      tabIndex={0}
      aria-label={`Place along ${cornerTitle(desk, frame.corner)}; arrow keys move the cursor`}
      aria-valuemin={Math.round(frame.from - frame.corner.apex_m)}
      aria-valuemax={Math.round(frame.to - frame.corner.apex_m)}
      aria-valuenow={0}
      aria-valuetext={spoken(desk, frame, strips, frame.corner.apex_m)}
      onFocus={() => cursor() === null && moveCursor(frame.corner.apex_m)}
      onPointerMove={follow}
      onPointerDown={follow}
    >
      <svg class="ribbon" viewBox={`0 0 ${frame.width} ${height}`} aria-hidden="true">
        <Distances desk={desk} frame={frame} top={layout.roadTop} roadBottom={layout.roadBottom} first={strips[0]!.top} bottom={bottom} />
        <Ribbon desk={desk} layout={layout} />
        <Details layout={layout} placed={details} top={layout.height} />
        {strips.map((strip) => (
          <StripPicture key={strip.key} desk={desk} frame={frame} list={layout.list} strip={strip} />
        ))}
        <Corners desk={desk} frame={frame} y={bottom} />
        <Cursor desk={desk} layout={layout} strips={strips} bottom={bottom} />
      </svg>
      {flags.length === 0 && <p class="note">Nothing was found that could be written on the road here.</p>}
    </div>
    {said.length > 0 && (
      <ul class="unseen" aria-label={`Marked on the road of ${cornerTitle(desk, frame.corner)}`}>
        {said.map(({ text }, i) => <li key={i}>{text}</li>)}
      </ul>
    )}
    </>
  );
}

interface DistancesProps {
  desk: Desk;
  frame: Frame;
  top: number;
  roadBottom: number;
  first: number;
  bottom: number;
}

/** Upright lines and the distance axis, counted from the apex. */
function Distances({ desk, frame, first, bottom }: DistancesProps) {
  const { factor, unit } = ruleOf("distance", desk.system);
  const apex = frame.corner.apex_m;
  const about = (frame.right - frame.left) / 95;
  const ticks = niceTicks((frame.from - apex) * factor, (frame.to - apex) * factor, about);
  const labels = ticks.map((tick) => {
    const x = frame.x(apex + tick / factor);
    const text = tick === 0 ? "apex" : `${tick < 0 ? "\u2212" : "+"}${Math.abs(tick)}\u00a0${unit}`;
    const edge = x < frame.left + 22 ? "start" : x > frame.right - 22 ? "end" : "middle";
    const wide = textWidth(text, 12);
    const from = edge === "start" ? x : edge === "end" ? x - wide : x - wide / 2;
    return { tick, x, text, edge, from, to: from + wide };
  });
  // The nearer to the apex, the sooner a distance is written; one without room keeps its line alone.
  const written: typeof labels = [];
  for (const one of [...labels].sort((p, q) => Math.abs(p.tick) - Math.abs(q.tick))) {
    if (written.every((other) => one.from > other.to + 2 || one.to < other.from - 2)) written.push(one);
  }
  return (
    <g>
      {labels.map((one) => (
        <g key={one.tick}>
          <path class={one.tick === 0 ? "grid zero" : "grid"} d={`M${one.x} ${first}V${bottom}`} />
          {written.includes(one) && <text class="axis" x={one.x} y={bottom + 30} text-anchor={one.edge}>{one.text}</text>}
        </g>
      ))}
    </g>
  );
}

/** Where each corner in the frame begins and ends. */
function Corners({ desk, frame, y }: { desk: Desk; frame: Frame; y: number }) {
  const length = desk.view.pictures.points * desk.view.pictures.step_m;
  return (
    <g>
      {desk.view.guide.corners.map((corner) => {
        const apex = near(corner.apex_m, (frame.from + frame.to) / 2, length);
        const from = Math.max(near(corner.start_m, apex, length), frame.from);
        const to = Math.min(near(corner.end_m, apex, length), frame.to);
        if (to <= from) return null;
        const [a, b] = [frame.x(from), frame.x(to)];
        const own = corner.id === frame.corner.id;
        return (
          <g key={corner.id} class={own ? "extent own" : "extent"}>
            <rect x={a} y={y} width={Math.max(b - a, 1)} height={14} />
            {b - a > 18 && (
              <text x={(a + b) / 2} y={y + 11} text-anchor="middle">
                {corner.id}
              </text>
            )}
          </g>
        );
      })}
    </g>
  );
}
