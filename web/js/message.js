// The one place for messages: which of the things to say matters most now.

import { words } from "./language.js";
import { adviceOf, sidedLeaning } from "./terms.js";
import { translated } from "./translated.js";

/** @import { PracticeState, Side, Warned } from "./api.d.ts" */
/** @import { Shown } from "./hands.js" */

/**
 * @typedef {object} View
 * @property {"joining" | "open" | "lost"} connection
 * @property {PracticeState | null} state
 * @property {readonly Warned[]} warnings
 * @property {Record<Side, Shown>} hands what is shown of each hand
 * @property {string} quiet what is told of them where nothing else is to be said
 * @property {boolean} pictures true while they come
 * @property {"start" | "stop" | null} turning while one is under way
 * @property {string | null} error
 * @property {string | null} late that the summary does not come
 */
/** advice: what follows the text, in smaller letters. @typedef {{ kind: "calm" | "warning" | "notice" | "lost", text: string, advice?: string }} Message */

/**
 * @param {View} view
 * @returns {Message}
 */
export function message(view) {
  const { connection, state } = view;
  const text = words.live;
  if (connection === "joining" || state === null) return calm(text.joining);
  if (connection === "lost") return { kind: "lost", text: text.lost };
  if (view.error) return notice(view.error);
  if (view.turning === "stop") return calm(text.stopping);
  if (state.phase === "opening" || view.turning === "start") return calm(text.opening);
  if (state.phase === "failed") return notice(`${translated(state.fault ?? text.failed)} ${text.pressStart}`);
  if (state.phase !== "watching" && view.late) return notice(view.late);
  if (state.phase !== "watching") return calm(`${text.ready} ${text.pressStart}`);
  if (view.warnings.length > 0) {
    return { kind: "warning", text: view.warnings.map(warningSentence).join(" "), advice: [...new Set(view.warnings.map((one) => adviceOf(one.quantity)))].join(" ") };
  }
  if (state.fault) return notice(translated(state.fault));
  if (state.notice) return notice(translated(state.notice));
  // A film has no plug: its next picture is worked on, or it has just ended.
  if (!view.pictures) return state.source?.kind === "film" ? calm(text.filmWaits) : notice(text.noPicture);
  return calm(view.quiet);
}

/**
 * To be read from afar, so without the field's own word for it, which stands beside the number.
 * @param {Warned} warning
 */
export const warningSentence = (warning) => words.live.warning(sidedLeaning(warning).replace(/ \([^)]*\)/, ""), Math.floor(warning.held_s));

/**
 * Said once, without the seconds that keep counting.
 * @param {Warned} warning
 */
export const announcement = (warning) => `${sidedLeaning(warning)}. ${adviceOf(warning.quantity)}`;

/**
 * @param {string} text
 * @returns {Message}
 */
const calm = (text) => ({ kind: "calm", text });
/**
 * @param {string} text
 * @returns {Message}
 */
const notice = (text) => ({ kind: "notice", text });
