// What the server sends before a practice, for the type checker only; see posturewatch/server/routes/__init__.py.

import type { Side } from "../api.d.ts";

export interface Words { en: string; de: string }
export interface InstrumentHand { role: string; matters: string[] }
export interface CameraPlace { place: Words; towards_left_deg: number; height: string; distance_m: number; sees: Side[] }
export interface Instrument {
  name: string; label: Words; note: Words | null; neck_deg: number | null; keyboard: boolean;
  hands: Record<Side, InstrumentHand>; cameras: CameraPlace[];
}
export interface Camera { source: string; name: string | null; size_px: [number, number] | null; rate_hz: number | null }
export interface PreviewSource { name: string; kind: string; width_px: number; height_px: number; rate_hz: number | null }
export interface Preview {
  phase: "off" | "opening" | "on" | "failed"; fault: string | null; notice: string | null; source: PreviewSource | null;
}
export interface Choices {
  source: string; size_px: [number, number]; rate_hz: number; mirrored: boolean; hfov_deg: number | null; microphone: boolean;
  instrument: string; handedness: "right" | "left"; before_start: boolean; remembered: boolean;
}
export type GradeWord = "well" | "fairly" | "poorly" | "not";
export interface Graded { side: Side; name: string; grade: GradeWord; sd: number | null; share: number; refusal: string | null }
export type HelpWord = "show hands" | "one player" | "whole hand" | "closer" | "further" | "light" | "sharper" | "frame rate" | "forearm"
  | "sleeve" | "towards head" | "towards front" | "turn";
export interface Advice { help: HelpWord; side: Side | null; move_deg: number | null }
export interface Placement { enough: boolean; rate_hz: number; towards_head_deg: number | null; grades: Graded[]; advice: Advice | null }
export interface SetUp { preview: Preview; choices: Choices; placement: Placement }
/** Keeps a change of some choices; false where that failed, which is shown. */
export type Choose = (changes: Partial<Choices>) => Promise<boolean>;
