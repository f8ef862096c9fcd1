// What the server sends before a practice, for the type checker only; see posturewatch/server/routes/__init__.py.

import type { Level, Side } from "../api.d.ts";

export interface Words { en: string; de: string }
export interface InstrumentHand { role: string; matters: string[] }
export interface CameraPlace { place: Words; towards_left_deg: number; height: string; distance_m: number; sees: Side[] }
export interface Instrument {
  name: string; label: Words; note: Words | null; neck_deg: number | null; keyboard: boolean;
  hands: Record<Side, InstrumentHand>; cameras: CameraPlace[];
}
export interface Camera { source: string; name: string | null; size_px: [number, number] | null; rate_hz: number | null }
export interface Microphones { microphones: { name: string; usual: boolean }[]; fault: string | null }
export interface PreviewSource { name: string; kind: string; width_px: number; height_px: number; rate_hz: number | null }
export interface Preview {
  phase: "off" | "opening" | "on" | "failed"; fault: string | null; notice: string | null; source: PreviewSource | null;
}
export interface Choices {
  source: string; film: boolean; size_px: [number, number]; rate_hz: number; mirrored: boolean; hfov_deg: number | null; microphone: string | null;
  instrument: string; handedness: "right" | "left"; before_start: boolean; remembered: boolean; player: string; range_share: number;
}
export type Hint = "show the hand" | "hold still" | "holding" | "go further" | "show the board" | "move the board" | "done" | "no picture" | "";
export interface Measuring {
  what: "neutral" | "end" | "lens"; side: Side | null; quantity: string | null; direction: string | null; hint: Hint; part: number; done: boolean;
  value_deg: number | null; sd_deg: number | null; question: string | null; fault: string | null;
}
export interface OwnEnd { side: Side; quantity: string; direction: string; value_deg: number; sd_deg: number; date: string }
export interface Player {
  name: string; names: string[]; hand: { length_mm: number; method: string; date: string } | null; ends: OwnEnd[]; typical_hand_mm: number; hand_mm: number | null;
}
export interface OwnLimit {
  side: Side; quantity: string; direction: string; level: Level; published: number | null; source: string | null; range_deg: number | null;
  range_side: Side | null; own: number | null; by_hand: number | null; in_settings: number | null; used: number;
  origin: "published" | "range" | "hand" | "settings" | "extreme"; most: number; ask_below: number;
}
export type GradeWord = "well" | "fairly" | "poorly" | "not";
export interface Graded { side: Side; name: string; grade: GradeWord; sd: number | null; share: number; refusal: string | null }
export type HelpWord = "show hands" | "one player" | "whole hand" | "closer" | "further" | "light" | "sharper" | "frame rate" | "forearm"
  | "sleeve" | "towards head" | "towards front";
export interface Advice { help: HelpWord; side: Side | null; move_deg: number | null }
export interface Placement { enough: boolean; rate_hz: number; towards_head_deg: number | null; grades: Graded[]; advice: Advice | null }
export interface SetUp {
  preview: Preview; choices: Choices; placement: Placement; measuring: Measuring | null; straight: { side: Side; quantity: string }[]; player: Player;
  limits: OwnLimit[];
}
/** A request that changes something and answers with all of it; false where that failed, which is shown. */
export type Act = (method: "POST" | "PUT" | "PATCH" | "DELETE", path: string, body?: unknown) => Promise<boolean>;
/** Keeps a change of some choices; false where that failed, which is shown. */
export type Choose = (changes: Partial<Choices>) => Promise<boolean>;

export type SettingValue = string | number | boolean | (string | number)[] | null;
export interface SettingEntry {
  key: string; kind: "number" | "whole" | "text" | "switch" | "choice" | "choices" | "numbers"; value: SettingValue; default: SettingValue; unit: string | null;
  low: number | null; high: number | null; choices: string[]; labels: Record<string, Words> | null; help: string; source: string | null;
}
export interface SettingsForm { file: string; exists: boolean; running: boolean; sections: { name: string; settings: SettingEntry[] }[] }
