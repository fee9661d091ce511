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
  };
  units: { chosen: string; systems: Record<string, UnitSystem> };
}
