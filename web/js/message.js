// The one place for messages: which of the things to say matters most now.

import { sentenceCase } from "./format.js";
import { words } from "./language.js";
import { FINGERBOARD_SIDES, SIDES, adviceOf, labelOf, refusalHelp, refusalName, sidedLeaning } from "./terms.js";
import { translated } from "./translated.js";

/** @import { PracticeState, Side, State, Warned } from "./api.d.ts" */
/** @import { Shown } from "./hands.js" */

/**
 * @typedef {object} View
 * @property {"joining" | "open" | "lost"} connection
 * @property {PracticeState | null} state
 * @property {readonly Warned[]} warnings
 * @property {Record<Side, Shown>} hands what is shown of each hand
 * @property {boolean} pictures true while they come
 * @property {"start" | "stop" | null} turning while one is under way
 * @property {string | null} error
 */
/** @typedef {{ kind: "calm" | "warning" | "notice" | "lost", text: string }} Message */

/** What is said of, most pressing first. @type {readonly State[]} */
const TOLD_FIRST = ["held", "extreme", "partly", "unseen", "unsure", "beyond", "within"];

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
  if (state.phase !== "watching") return calm(`${text.ready} ${text.pressStart}`);
  if (view.warnings.length > 0) return { kind: "warning", text: view.warnings.map(warningSentence).join(" ") };
  if (state.fault) return notice(translated(state.fault));
  if (state.notice) return notice(translated(state.notice));
  if (!view.pictures) return notice(text.noPicture);
  return calm(quiet(view.hands, state.warns));
}

/** @param {Warned} warning */
export const warningSentence = (warning) => words.live.warning(sidedLeaning(warning), Math.floor(warning.held_s), adviceOf(warning.quantity));

/**
 * Said once, without the seconds that keep counting.
 * @param {Warned} warning
 */
export const announcement = (warning) => `${sidedLeaning(warning)}. ${adviceOf(warning.quantity)}`;

/**
 * One thing: what is most pressing of either hand, that of the fingerboard first.
 * @param {Record<Side, Shown>} hands
 * @param {readonly Side[]} warns the hands that are warned of
 */
function quiet(hands, warns) {
  const sides = [...SIDES].sort((a, b) => Number(FINGERBOARD_SIDES.includes(b)) - Number(FINGERBOARD_SIDES.includes(a)));
  for (const state of TOLD_FIRST) {
    const told = sides.filter((side) => hands[side].state === state);
    const [side] = told;
    if (side === undefined) continue;
    const both = told.length === SIDES.length && SIDES.every((one) => hands[one].quantity === hands[side].quantity && hands[one].refusal === hands[side].refusal);
    const said = sentence(state, both ? words.live.bothHands : words.hands[side], hands[side]);
    return state === "extreme" && !told.some((one) => warns.includes(one)) ? `${said} ${words.live.notWarnedOf}` : said;
  }
  return "";
}

/**
 * @param {State} state
 * @param {string} who
 * @param {Shown} shown
 */
function sentence(state, who, { quantity, refusal }) {
  const text = words.live;
  if (refusal === null) return state === "unsure" && quantity !== null ? text.mayBePast(who, labelOf(quantity)) : text.told[state](who);
  const what = quantity === null ? text.notSeen(who, refusalName(refusal)) : text.notMeasured(who, labelOf(quantity), refusalName(refusal));
  return `${sentenceCase(what)} ${refusalHelp(refusal)}`.trim();
}

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
