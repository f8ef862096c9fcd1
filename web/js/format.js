// Numbers, times and sizes as text.

import { locale, words } from "./language.js";

/**
 * "3:07" or "1:02:09".
 * @param {number} seconds
 */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const parts = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const shown = whole >= 3600 ? parts : parts.slice(1);
  return shown.map((part, i) => (i === 0 ? String(part) : String(part).padStart(2, "0"))).join(":");
}

/**
 * "8 s", "2 min 5 s", "1 h 4 min": for durations in sentences and tables.
 * @param {number} seconds
 */
export function duration(seconds) {
  // It stays in one line.
  const joined = (/** @type {readonly (string | number)[]} */ ...parts) => parts.join("\u00a0");
  if (seconds < 9.95) return joined(decimal(Math.round(seconds * 10) / 10), "s");
  const whole = Math.round(seconds);
  if (whole < 60) return joined(whole, "s");
  if (whole < 3600) return whole % 60 ? joined(Math.floor(whole / 60), "min", whole % 60, "s") : joined(whole / 60, "min");
  return joined(Math.floor(whole / 3600), "h", Math.round((whole % 3600) / 60), "min");
}

/**
 * A number with the decimal sign of the language.
 * @param {number} value
 */
export const decimal = (value) => value.toLocaleString(locale, { useGrouping: false });

/** @param {string} text */
export function sentenceCase(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/** @param {number | null} share */
export function percent(share) {
  if (share === null) return "–";
  const whole = Math.round(share * 100);
  if (whole === 0 && share > 0) return words.numbers.underOnePercent;
  return whole === 100 && share < 1 ? words.numbers.overNinetyNinePercent : `${whole}\u00a0%`;
}

/** @param {string} iso */
export function date(iso) {
  return new Date(iso).toLocaleDateString(locale, { weekday: "short", day: "numeric", month: "short", year: "numeric" });
}

/** @param {string} iso */
export function dateAndTime(iso) {
  return `${date(iso)}, ${new Date(iso).toLocaleTimeString(locale, { hour: "2-digit", minute: "2-digit" })}`;
}

/** @param {number} count */
export function bytes(count) {
  const units = [words.numbers.bytes, "kB", "MB", "GB"];
  let size = count;
  let place = 0;
  while (size >= 1000 && place < units.length - 1) {
    size /= 1000;
    place += 1;
  }
  return `${place === 0 || size >= 100 ? Math.round(size) : decimal(Math.round(size * 10) / 10)}\u00a0${units[place]}`;
}

/**
 * "3:07.5" to seconds; null for what is no time.
 * @param {string} text
 */
export function secondsOf(text) {
  const parts = text.trim().split(":");
  if (parts.length > 3 || !parts.every((part) => /^\d+([.,]\d+)?$/.test(part))) return null;
  return parts.reduce((sum, part) => 60 * sum + Number(part.replace(",", ".")), 0);
}

/**
 * Seconds as "3:07.5", to be edited.
 * @param {number} seconds
 */
export function timeText(seconds) {
  const tenths = Math.round(seconds * 10);
  const minutes = Math.floor(tenths / 600);
  const rest = (tenths % 600) / 10;
  return `${minutes}:${rest < 10 ? "0" : ""}${Number.isInteger(rest) ? rest : rest.toFixed(1)}`;
}

/**
 * Where a session was seen, as a player would call it: a film by its name, without the ending that files have.
 * @param {{ name?: string, kind?: string } | undefined} source
 * @param {boolean} [demo]
 */
export function sourceName(source, demo = false) {
  const text = words.sessions;
  if (demo) return text.demoFilm;
  if (source?.kind === "camera") return text.camera;
  if (source?.kind !== "film") return source?.name ?? "";
  return text.film((source.name ?? "").replace(/\.[a-z0-9]{2,4}$/i, "").replaceAll("_", " "));
}

/** Letters of a piece's name before its bars: a long one must not hide where in the piece it was. */
const MOST_BEFORE_BARS = 28;

/**
 * "Nocturne sketch, bars 12-16 · 72 bpm" or "no piece".
 * @param {import("./api.d.ts").Passage | null} passage
 */
export function passageName(passage) {
  if (!passage?.piece) return words.playing.noPiece;
  const tempo = passage.tempo_bpm ? ` · ${Math.round(passage.tempo_bpm)} bpm` : "";
  if (!passage.bars) return `${passage.piece}${tempo}`;
  const piece = passage.piece.length > MOST_BEFORE_BARS ? `${passage.piece.slice(0, MOST_BEFORE_BARS - 1).trimEnd()}…` : passage.piece;
  return `${piece}, ${passage.bars}${tempo}`;
}
