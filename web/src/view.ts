// What a guide file holds, after its arrays are unpacked.
import type { VideoCaptions } from "./cues";

export type Numbers = ArrayLike<number>;
export type Value = [number | null, string, number?];

/** A sentence with holes; each hole is a value in SI units with its quantity. */
export interface Sentence {
  t: string;
  v?: Value[] | null;
}

export interface UnitRule {
  unit: string;
  factor: number;
  decimals: number;
}

export interface UnitSystem {
  name: string;
  quantities: Record<string, UnitRule>;
}

export interface Action {
  median: number | null;
  spread: number | null;
  n: number;
  floor: number | null;
  human_floor: number | null;
  why_null: string | null;
}

export interface Corner {
  id: string;
  name: string;
  direction: "left" | "right";
  start_m: number;
  apex_m: number;
  end_m: number;
  kind: string;
  complex: string | number | null;
  actions: Record<string, Action | undefined>;
  advice: string[];
  notes: string[];
  sight?: { blind: boolean | null; apex_seen_from_m: number | null } | null;
  road_use?: Record<RoadPart, RoadLeft | null> | null;
  kerbs?: { name: string; uses: KerbUse[]; effects?: KerbEffect[] }[];
  rotation?: { turning: Record<Phase, number> | null } | null;
  room?: Room[];
  chosen_references?: { action: string; reference: string; computed: boolean }[];
}

export type RoadPart = "entry" | "apex" | "exit";

/** Road between the car's outside (or its path) and an edge. */
export interface RoadLeft {
  left_m: number;
  side: "outside" | "inside";
  verdict: string | null;
}

export interface KerbUse {
  lap: string;
  wheels: string[];
  depth_m: number;
  length_m: number;
}

/** What more of a kerb goes with, by one measure of the corner. */
export interface KerbEffect {
  measure: string;
  verdict: string;
  best_low_m?: number | null;
  best_high_m?: number | null;
}

/** What happens when a change that asks for more is missed by so much. */
export interface Room {
  action: string;
  change: "later" | "faster" | "flat";
  today: number;
  missed_by_m: number;
  speed_at_edge_mps: number | null;
  edge_m: number | null;
  side: string | null;
  road_left_m: number | null;
  runoff_m: number | null;
}

/** Where a lap was past the bound of the road. */
export interface Breach {
  side: "left" | "right";
  start_m: number;
  end_m: number;
  duration_s: number;
  by_m: number;
  sure: boolean;
}

export interface LapRow {
  id: string;
  file: string;
  driver: string | null;
  number: number;
  time_s: number | null;
  used: boolean;
  why_not: string | null;
  kind: string | null;
  track_limits?: { rule: string; breaches: Breach[] } | null;
}

export interface CornerLap {
  corner: string;
  lap: string;
  time_s: number | null;
  actions: Record<string, number | null | undefined>;
}

export interface Guide {
  cautions: string[];
  circuit: { name: string; length_m: number; surveyed: boolean; turns: string };
  recording?: {
    rate_hz?: number | null;
    channels?: { name: string; unit: string; original: string; how_known: string; delay_s: number | null }[];
    repairs?: { channel: string; from_s: number | null; to_s: number | null; what: string }[];
  };
  laps: LapRow[];
  corners: Corner[];
  corner_laps: CornerLap[];
  possible?: {
    own_best_corners_s: LapTimes | null;
    on_line_s: LapTimes | null;
    on_fastest_line_s: LapTimes | null;
  } | null;
}

export interface Road {
  x: Numbers;
  y: Numbers;
  left: Numbers;
  right: Numbers;
  curvature: Numbers;
}

export type ChannelName =
  | "speed"
  | "acceleration_forward"
  | "acceleration_left"
  | "throttle"
  | "brake"
  | "steering"
  | "gear";

export type Lap = { time: Numbers; n: Numbers } & Record<ChannelName, Numbers | null>;

export interface Span {
  kind: "kerb" | "patch";
  name: string;
  start_m: number;
  end_m: number;
  left_m: number;
  right_m: number;
}

export interface Landmark {
  name: string;
  at_m: number;
  off_m: number;
  height_m: number;
}

/** Road seen ahead without a break from each place of the grid; as far as `reach_m` was looked. */
export interface Sight {
  ahead_m: Numbers;
  reach_m: number;
  alignments: { near: string; far: string; at_m: number }[];
}

/** What an action is taken on, where the laps settle it. */
export interface ReferenceMark {
  corner: string;
  action: string;
  at_m: number;
  kind: "place" | "state" | "alignment" | "view";
  landmarks: string[];
  text: Sentence;
}

export interface Pictures {
  step_m: number;
  points: number;
  road: Road;
  laps: Record<string, Lap>;
  chosen_lap: string;
  compare_lap: string | null;
  spans: Span[];
  landmarks: Landmark[];
  possible?: PossibleLine | null;
  envelope?: Record<Direction, Envelope | null | undefined> | null;
  sight?: Sight | null;
  references?: ReferenceMark[];
}

/** The fastest line, what road is worth along it (s a metre of width, for each metre of road), load as share of weight. */
export interface PossibleLine {
  n: Numbers;
  speed: Numbers;
  worth_left: Numbers;
  worth_right: Numbers;
  load: Numbers | null;
}

export type Direction = "lateral" | "brake" | "drive";

export interface Envelope {
  speed: number[];
  value: (number | null)[];
  low: (number | null)[] | null;
  high: (number | null)[] | null;
  supported: boolean[];
  points: [speed: number, acceleration: number][];
}

export interface ActionWords {
  label: string;
  quantity: string;
  is_place: boolean;
  meaning: string;
  before: string | null;
  after: string | null;
}

export interface CornerWords {
  title: Sentence;
  why: Sentence | null;
  instructions: Sentence[];
  spread_note: Sentence | null;
  possible?: Sentence[] | null;
  references?: Sentence[];
  reference_tables?: ReferenceTable[];
  road?: Sentence[];
  room?: Sentence[];
  sight?: Sentence[];
  hands?: Sentence[];
}

/** How one action scatters about each thing that it may be taken on, the tightest first. */
export interface ReferenceTable {
  action: string;
  label: string;
  settled: boolean;
  laps: string[];
  floor_s: number | null;
  human_s: number;
  why_null: string | null;
  time: Sentence | null;
  rows: { text: Sentence; kind: string; scatter_m: number; scatter_s: number; as_good: boolean }[];
}

export type Glyph = "seen" | "place" | "state" | "alignment" | "view" | "chosen" | "kerb" | "over" | "overperhaps" | "room" | "left";

/** A line under a road: what it says, where its mark stands, and of which laps it holds, where not of all. */
export interface MarkLine {
  group: string;
  glyph: Glyph;
  from_m: number | null;
  to_m: number | null;
  text: Sentence;
  laps?: string[];
  wheels?: string[];
}

/** A place that a driver looks from: its name, and how far he sees, or at least sees. */
export interface EyeWords {
  name: string;
  seen: string;
  open: string;
}

export type Phase = "brake" | "neither" | "throttle";

/** Words of the pictures; see lapwright/guide/mark_words.py. */
export interface MarkWords {
  topics: { key: string; title: string }[];
  eyes: Record<string, EyeWords>;
  apex_seen: string;
  phases: Record<Phase, string>;
  corners: Record<string, MarkLine[] | undefined>;
  bounds: MarkLine[];
  kerb_charts: Record<string, { kerb: string; text: Sentence }[] | undefined>;
}

/** A section that is words alone. */
export interface SaidSection {
  title: string;
  sentences: Sentence[];
  why_null?: Sentence | null;
}

/** One cause in one corner: what it cost, and where. A cost below zero is a gain. */
export interface LedgerRow {
  cause: string;
  cost_s: number;
  low_s: number | null;
  high_s: number | null;
  significant: boolean;
  from_m: number | null;
  to_m: number | null;
  text: Sentence | null;
}

export interface LedgerCorner {
  corner: string;
  cost_s: number;
  nothing: Sentence | null;
  rows: LedgerRow[];
  /** The lap that it is held against here, where that differs by corner. */
  against_lap?: string | null;
}

/** One lap held against one thing: rows and straights add up to the difference. */
export interface Account {
  lap: string;
  against: string;
  difference_s: number;
  straight_s: number;
  corners: LedgerCorner[];
  lost_s: Numbers | null;
}

export interface Habit {
  corner: string;
  cause: string;
  share_of_laps: number;
  mean_cost_s: number;
  against: string;
  text: Sentence;
}

export interface Ledger {
  against: { key: string; label: string }[];
  causes: Record<string, { label: string; meaning: string } | undefined>;
  accounts: Account[];
  habits?: Habit[] | null;
  why_null: Sentence | null;
}

/** One item of the order of work: evidence first, seconds last. */
export interface WorkItem {
  corner: string;
  what: Sentence;
  evidence: Sentence | null;
  reference: Sentence | null;
  goal: Sentence | null;
  tolerance: Sentence | null;
  so_far?: Sentence | null;
  worth?: Sentence | null;
}

export interface LapTimes {
  value: number;
  low: number | null;
  high: number | null;
}

export interface View {
  guide: Guide;
  pictures: Pictures;
  words: {
    title: string;
    lede: Sentence;
    facts: { label: string; text: Sentence }[];
    actions: Record<string, ActionWords | undefined>;
    corners: Record<string, CornerWords | undefined>;
    marks: MarkWords;
    missing: Sentence[];
    possible?: SaidSection | null;
    stints?: SaidSection | null;
    sight?: SaidSection | null;
    notes?: { unfit: Sentence[] } | null;
    ledger?: { title: string; sentences: Sentence[]; cautions: Sentence[] } | null;
  };
  ledger?: Ledger | null;
  order_of_work?: WorkItem[] | null;
  captions?: VideoCaptions | null;
  units: { chosen: string; systems: Record<string, UnitSystem> };
}
