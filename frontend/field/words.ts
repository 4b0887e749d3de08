// What travels between the phone and the office, and what the page keeps.

export interface Pass {
  number: number;
  of: number;
  operation: string;
  heading: string;
  is_forward: boolean;
  from: string;
  to: string;
  moldboard: string;
  speed: string;
  planned_speed: string;
  note: string;
}

export type Point = [number, number];

export interface Card {
  id: string;
  number: number;
  version: number;
  is_closed: boolean;
  day: string;
  title: string;
  road: string;
  treatment: string;
  where: string;
  start: string;
  operator: string;
  moisture: string;
  end_state: string;
  steps: { text: string; detail: string }[];
  checks: string[];
  cautions: { text: string; at: string }[];
  quantities: { name: string; value: string }[];
  stakes: { number: number; at: string; load: string }[];
  passes: Pass[];
  from_m: number;
  to_m: number;
  hours: number | null;
  line: Point[];
  nearby: Point[][];
  water: Point[][];
  marks: { kind: string; lon: number; lat: number; label: string }[];
}

export interface Limits {
  moving_km_h: number;
  stopped_s: number;
  pass_share: number;
  off_road_m: number;
  seen_km_h: number;
  check_in_h: number;
  note_letters: number;
  facts_a_batch: number;
  photo_side_px: number;
  chunk_kb: number;
  storage_share: number;
  keep_days: number;
  skew_told_s: number;
}

export interface ToldByOther {
  id: string;
  kind: string;
  card: string | null;
  payload: Record<string, unknown>;
  at: string;
  by: string;
  number: number;
}

export interface Day {
  machine: { id: string; name: string };
  who: string;
  device: string;
  today: string;
  now: string;
  district: string;
  is_invented: boolean;
  shift: { begin_h: number | null; hours: number };
  units: Record<"m" | "litres" | "km", { sign: string; factor: number }>;
  cards: Card[];
  withdrawn: { number: number; title: string; because: string }[];
  n_drafts: number;
  told: ToldByOther[];
  latest: number;
  reasons: Record<string, string>;
  limits: Limits;
  release: string;
}

export type State = "waiting" | "sent" | "refused";

export interface Fact {
  id: string;
  sequence: number;
  kind: string;
  card: string | null;
  at: string;
  seen: number;
  payload: Record<string, unknown>;
  state: State;
  number: number;
  why: string;
}

export interface Picture {
  id: string;
  data: ArrayBuffer;
  sha256: string;
  isUp: boolean;
  refused: string;
}

export interface Paired {
  device: string;
  key: string;
  name: string;
  machine: { id: string; name: string };
}

export interface Answer {
  id: string;
  answer: "accepted" | "duplicate" | "rejected";
  number: number;
  why: string;
  is_conflict: boolean;
}

export interface Reply {
  answers: Answer[];
  latest: number;
  knows_last: boolean;
  now: string;
  skew_s: number;
  release: string;
}
