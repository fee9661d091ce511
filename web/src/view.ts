// What a guide file holds, after its arrays are unpacked.

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
  worth_s: number | null;
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
    missing: Sentence[];
    possible?: { title: string; sentences: Sentence[]; why_null: Sentence | null } | null;
    ledger?: { title: string; sentences: Sentence[]; cautions: Sentence[] } | null;
  };
  ledger?: Ledger | null;
  order_of_work?: WorkItem[] | null;
  units: { chosen: string; systems: Record<string, UnitSystem> };
}
