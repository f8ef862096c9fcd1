// What the server sends, for the type checker only (see .ci/js): the page is never built and does not load this file.
// The shapes are those of posturewatch/review/vocabulary.py, server/live_message.py and server/book.py.

export type Side = "left" | "right";
export type Level = "comfort" | "extreme";
export type Unit = "deg" | "mm";
export type Group = "wrist" | "finger";
/** Where a value is among limits; "unseen" where there is no value. */
export type Zone = "within" | "beyond" | "extreme" | "unseen";
/** What is shown of a hand or a finger. */
export type State = "idle" | "within" | "beyond" | "extreme" | "held" | "unsure" | "partly" | "unseen";
export type Seconds = number;

export interface Answer<T> { body: T | null; error: string | null; status?: number }

export interface LimitPair { comfort: number | null; extreme: number | null }
export interface DirectionWords extends LimitPair { sign: 1 | -1; words: string; sided: Record<Side, LimitPair> | null }
export interface Quantity {
  name: string; label: string; unit: Unit; group: Group; finger: string | null; advice: string;
  positive: string; negative: string | null; directions: Record<string, DirectionWords>;
}
export interface HandWords { side: Side; label: string; role: string; role_label: string; fretting: boolean }
export interface Vocabulary {
  language: string;
  units: Record<Unit, string>;
  hands: HandWords[];
  fingers: { name: string; number: string }[];
  zones: { name: string; key: Zone }[];
  states: { name: string; key: State }[];
  /** Standard deviations to either side of a value that its 90 % interval reaches. */
  interval_sd: number;
  enough_share: number;
  refusals: { name: string; key: string; help: string }[];
  lift_planes: { name: string; words: string }[];
  cues: { name: string; finger: string | null; label: string; words: string }[];
  limits: { name: string; label: string };
  quantities: Quantity[];
  no_force: string;
  /** Where somebody else's practices are looked at: the bundle's and the notes' file. */
  shared: { file: string; notes: string } | null;
}

/** One quantity of one hand in a live message. */
export interface LiveQuantity {
  value: number | null; sd: number | null; display: number | null; zone: string; direction: string | null;
  refusal: string | null; help: string | null; comfort_limit: number | null; extreme_limit: number | null;
}
export interface LiveCue { cue: string; finger: string | null; label: string; words: string }
export type Point = [number, number];
export interface LiveHand {
  side: Side; role: string | null; seen: boolean; landmarks: (Point | null)[] | null; forearm: Point[] | null;
  verdict: { state: string; quantity: string | null; refusal: string | null }; lift_plane: string | null; cues: LiveCue[]; quantities: Record<string, LiveQuantity>;
}
export interface Warned {
  side: Side; quantity: string; direction: string; since_s: Seconds; fired_s: Seconds; held_s: Seconds; limit: number;
}
export interface LiveHeader {
  seq: number; index: number; time_s: Seconds; width: number; height: number; hands: LiveHand[]; warnings: Warned[];
  dropped: number; savings: string[]; measured_fps: number; notice: string | null;
}
export interface Passage { piece: string | null; bars?: string; tempo_bpm?: number | null }
export interface PracticeState {
  phase: "opening" | "watching" | "stopped" | "failed"; session_id: string | null; practised_s: Seconds;
  notice: string | null; fault: string | null; marks: number; warns: Side[]; asides?: string[]; passage?: Passage | null;
  source?: { kind: string } | null;
}
export interface LiveState { state: PracticeState }

export interface Percentiles { p10: number; p50: number; p90: number }
export interface CueShare {
  side: Side; cue: string; finger: string | null; label: string; share_of: string; certain_share: number | null;
}
export interface Excursion {
  level: Level; side: Side; quantity: string; direction: string; start_s: Seconds; end_s: Seconds | null; peak: number; peak_s: Seconds;
  /** Of it past the limit; null where no sample can be read any more. hold: long enough past it to be told. */
  past_s: Seconds | null; hold: boolean;
}
export interface WarnedThen {
  side: Side; quantity: string; direction: string; since_s: Seconds; fired_s: Seconds; cleared_s: Seconds | null;
}
export interface HandTime { side: Side; total_s: Seconds; states_s: Record<string, Seconds> }
export interface SummarySession { source?: { name?: string; kind?: string }; demo?: boolean; end_reason?: string | null }
/** By hand and state its share of each stretch of bin_s seconds; states that a hand was never in are left out. */
export interface Timeline { bin_s: Seconds; hands: { side: Side; shares: Record<string, number[]> }[] }
export interface Summary {
  session?: SummarySession; duration_s: Seconds; watched_s?: Seconds; timeline?: Timeline; limits: string; hands: HandTime[]; quantities: Exposure[];
  lift_planes?: Partial<Record<Side, Record<string, Seconds>>>; cues?: CueShare[]; excursions: Excursion[];
  warned: WarnedThen[]; marks: { time_s: Seconds; note: string }[]; damage?: string[];
}

export interface KeptSession {
  id: string; started_at: string; ended_at: string | null; duration_s: Seconds; source?: { name?: string; kind?: string }; demo?: boolean; lost_samples?: number;
}
export interface ListedSession extends KeptSession {
  warnings: number; clips: number; pieces: string[]; extreme_share: number | null; measured_share: number | null; pain: number | null;
}
export interface HandedIn {
  id: string; name: string; piece: string | null; bars: string; bytes: number; phase: "waiting" | "measuring" | "keeping" | "kept" | "failed";
  share: number | null; left_s: Seconds | null; session_id: string | null; sentence: string | null;
}
export interface KeptPassage extends Passage {
  id: number; session_id: string; piece_id: number; piece: string; bars: string; tempo_bpm: number | null;
  start_s: Seconds; end_s: Seconds | null;
}
export interface Remark { id: number; uid: string; time_s: Seconds | null; author: string; text: string; written_at: string }
export interface Mark { id: number; time_s: Seconds; note: string }
export interface Moment {
  kind: "warning" | "extreme" | "mark"; start_s: Seconds; key_s: Seconds; end_s: Seconds | null; side: Side; quantity: string;
  direction: string;
}
export interface Clip {
  id: number; session_id: string; session_started_at: string; start_s: Seconds; end_s: Seconds; bytes: number; reason: string;
  has_sound: boolean; kept: boolean; note: string; state: "there" | "missing" | "removed";
  passage: KeptPassage | null; moments: Moment[];
}
export interface Advice { level: string; sentences: string[]; sources: string[] }
export interface Check {
  id: number; moment: "before" | "after"; checked_at: string; rating: number; places: string[]; signs: string[]; note: string;
  advice: Advice;
}
export interface CheckForm {
  scale: { lowest: number; highest: number; label: string }; sides: Side[]; places: { name: string; label: string }[];
  signs: { name: string; label: string }[];
}

export interface LevelExposure {
  level: Level; limit_deg?: number; limit_mm?: number; seconds: Seconds; certain_s: Seconds; share: number | null;
  excess_deg_s?: number; excess_mm_s?: number; excursions: number; longest_s: Seconds | null; longest_start_s: Seconds | null;
}
export interface DirectionExposure {
  direction: string; states_s: Record<string, Seconds>; levels: LevelExposure[];
}
export interface Exposure {
  side: Side; quantity: string; unit: Unit; group: Group; finger: string | null; total_s: Seconds; measured_s: Seconds;
  measured_share: number | null; unseen_s: Record<string, Seconds>; directions: DirectionExposure[]; percentiles_deg?: Percentiles | null;
  percentiles_mm?: Percentiles | null; rests: { per_minute: number } | null;
  variation: { amplitude_edges_deg?: number[]; amplitude_edges_mm?: number[]; duration_edges_s: number[]; seconds: number[][] };
}
export interface Part { piece_id: number; piece: string; bars: string; exposure: Exposure[]; cues: CueShare[] }
export interface Finding {
  sentence: string; piece: string; part: string; side: Side; quantity: string; limit_deg?: number; limit_mm?: number;
  share: number; share_elsewhere: number; highest_elsewhere: number | null; direction: string; measured_share: number; measured_s: Seconds; measured_elsewhere_s: Seconds; moments: string[];
}
export interface SessionDocument {
  session: KeptSession; passages: KeptPassage[]; marks: Mark[]; clips: Clip[]; checks: Check[]; remarks: Remark[];
  exposure: { session: Exposure[]; parts: Part[] } | null; finding: Finding | null; damage?: string[];
}
export interface ComparedNumbers { median: number | null; p10: number | null; p90: number | null; measured_share: number | null }
export interface Compared {
  then: KeptSession; same_limits: boolean;
  clip: { id: number; name: string; note: string; start_s: Seconds; end_s: Seconds } | null;
  parts: { piece_id: number; piece: string; bars: string; lines: {
    side: Side; quantity: string; unit: Unit; now: ComparedNumbers; then: ComparedNumbers; difference: number | null;
    uncertainty: number | null; verdict: "differs" | "too close" | "too little";
    extreme: { direction: string; now: number | null; then: number | null }[];
  }[] }[];
}
export interface TraceSeries {
  side: Side; quantity: string; unit: Unit; group: Group; low: (number | null)[]; median: (number | null)[];
  high: (number | null)[]; measured: number[];
}
export interface SessionTrace { bin_s: Seconds; series: TraceSeries[] }
export interface SampleSeries {
  side: Side; quantity: string; unit: Unit; group: Group; time_s: Seconds[]; value: (number | null)[]; sd: (number | null)[];
}

export interface PieceTotals { id: number; name: string; last_played: string | null; minutes: number; sessions: number; passages: number; clips: number }
export interface ShortExposure {
  side: Side; quantity: string; group: Group; measured_s: Seconds; levels: { direction: string; level: Level; seconds: Seconds }[];
}
export interface PlayedSession { session_id: string; started_at: string; minutes: number; passages: KeptPassage[]; exposure: ShortExposure[] }
export interface PieceDocument extends PieceTotals { played: PlayedSession[]; clip_list: Clip[] }
export interface SuggestedPiece { id: number; name: string; bars: string[] }

export interface TrendKey { side: Side; quantity: string; unit: Unit; group: Group; direction: string; level: Level }
export interface TrendTotal { share: number | null }
export interface TrendLine extends TrendKey {
  weeks: (TrendTotal & { monday: string })[]; change: { share: number } | null; slope_per_week: number | null;
  worst: { piece_id: number; piece: string; share: number } | null;
}
export interface PieceTrend { piece_id: number; piece: string; lines: (TrendKey & { total: TrendTotal })[] }
export interface WeekLoad { monday: string; minutes: number; sessions: number }
/** The highest ratings of a day. */
export interface PainDay { day: string; before: number | null; after: number | null }
export interface Trends { pain: PainDay[]; load: WeekLoad[]; waiting: number; notice: string | null; lines: TrendLine[]; pieces: PieceTrend[] }

export interface SessionSizes { id: string; started_at: string; duration_s: Seconds | null; samples_bytes: number; clips_bytes: number; clips: number }
export interface DataSizes {
  folder: string; database_bytes: number; clips_bytes: number; set_aside_bytes: number; other_bytes: number; total_bytes: number;
  sessions: SessionSizes[];
}
export interface PracticeList { items: Passage[]; position: number | null }

/** A page of the practice log: its nodes, and what to do once they are shown and when they are left. */
export interface Page { title: string; nodes: (Node | null)[]; shown?: () => void; leave?: () => void }
/** A limit with its sign. */
export interface SignedLimit { level: Level; direction: string; value: number }

/** What a language other than English calls the things of the vocabulary, by their names or keys there. */
export interface Terms {
  quantities: Record<string, { label: string; words: Record<string, string>; advice: string }>;
  directions: Record<string, string>;
  fingers: Record<string, string>;
  roles: Record<string, string>;
  refusals: Record<string, { name: string; help: string }>;
  planes: Record<string, string>;
  cues: Record<string, { label: string; words: string }>;
  places: Record<string, string>;
  signs: Record<string, string>;
  /** By section and key; those of the player's own limits have one together, under their section. */
  settings: Record<string, string>;
  noForce: string | null;
}
