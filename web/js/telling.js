// What is told of the hands while nothing is warned of: one thing, for as long as it takes to read and to act on.

import { sentenceCase } from "./format.js";
import { words } from "./language.js";
import { FINGERBOARD_SIDES, SIDES, labelOf, refusalHelp, refusalName } from "./terms.js";

/** @import { Side, State } from "./api.d.ts" */
/** @import { Shown } from "./hands.js" */

/** What is told of, most pressing first; comfort only where there is nothing of these. @type {readonly State[]} */
const TOLD_FIRST = ["held", "extreme", "partly", "unseen", "unsure", "beyond"];
/** Told at once. @type {readonly State[]} */
const URGENT = ["held", "extreme"];
/** While the state that is told stays, why it is so is not told anew for so long: long enough to read it and to move the camera. */
const TOLD_HOLD_S = 12;
/** What is told of a hand that is not warned of gives way sooner. */
const OTHER_HOLD_S = 4;
/** What is not so for as long is not told in the place of something that is true: an extreme angle has its warning by then. */
const LASTING_S = 4;
/** That of the fingerboard first. */
const HANDS = [...SIDES].sort((a, b) => Number(FINGERBOARD_SIDES.includes(b)) - Number(FINGERBOARD_SIDES.includes(a)));

export class Telling {
  /** @type {Side | null} */
  #side = null;
  /** Its state as it was told. @type {State} */
  #was = "idle";
  #since = -Infinity;
  /** When the hand that is told of was last in the state that is told. */
  #trueAt = -Infinity;
  /** The hand that there would be something to tell of now, whether it is urgent, and since when. */
  #next = "";
  #nextSince = -Infinity;
  #sentence = "";

  reset() {
    this.#side = null;
    this.#sentence = "";
  }

  /**
   * The sentence to show. It stays for a while as long as the hand that it tells of is in the state that it tells, so it
   * never contradicts the words beside the hands; and a hand that is warned of has its turn once what there is to say of it
   * lasts.
   * @param {Record<Side, Shown>} hands what is shown of each hand
   * @param {readonly Side[]} warns the hands that are warned of
   * @param {number} timeS of the frame
   */
  update(hands, warns, timeS) {
    if (timeS < this.#since) this.#since = this.#trueAt = -Infinity;
    const next = told(hands, warns);
    const what = next === null ? "" : `${next} ${URGENT.includes(hands[next].state)}`;
    if (what !== this.#next || timeS < this.#nextSince) this.#nextSince = timeS;
    this.#next = what;
    if (this.#side !== null && next !== null && this.#stays(this.#side, next, hands, warns, timeS)) return this.#sentence;
    const sentence = next === null ? "" : tell(next, hands, warns);
    if (sentence !== this.#sentence) this.#since = timeS;
    this.#side = next;
    this.#was = next === null ? "idle" : hands[next].state;
    this.#trueAt = timeS;
    this.#sentence = sentence;
    return sentence;
  }

  /**
   * @param {Side} side the hand that is told of
   * @param {Side} next the one to tell of now
   * @param {Record<Side, Shown>} hands
   * @param {readonly Side[]} warns
   * @param {number} timeS
   */
  #stays(side, next, hands, warns, timeS) {
    const { state } = hands[side];
    const lasting = timeS - this.#nextSince >= LASTING_S;
    // Comfort may be told of both hands, and is not for one frame longer than it is true of them.
    if (state === "within") return false;
    if (state !== this.#was) {
      // That an angle is too uncertain to call it comfortable stays true of an extreme hand, until that is warned of.
      return next === side && this.#was === "unsure" && state === "extreme" && warns.includes(side) && !lasting && timeS - this.#trueAt < LASTING_S;
    }
    this.#trueAt = timeS;
    if (next === side) return timeS - this.#since < TOLD_HOLD_S;
    const urgent = URGENT.includes(hands[next].state) && !URGENT.includes(state);
    if (!lasting && !(urgent && hands[next].state === "held")) return true;
    if (urgent) return false;
    return timeS - this.#since < (warns.includes(side) ? TOLD_HOLD_S : OTHER_HOLD_S);
  }
}

/**
 * The hand to tell of: one that is warned of, and another only while there is nothing to say of those.
 * @param {Record<Side, Shown>} hands
 * @param {readonly Side[]} warns
 */
function told(hands, warns) {
  for (const sides of [HANDS.filter((side) => warns.includes(side)), HANDS]) {
    for (const state of TOLD_FIRST) {
      const found = sides.find((side) => hands[side].state === state);
      if (found !== undefined) return found;
    }
  }
  return HANDS.find((side) => hands[side].state === "within") ?? null;
}

/**
 * @param {Side} side
 * @param {Record<Side, Shown>} hands
 * @param {readonly Side[]} warns
 */
function tell(side, hands, warns) {
  const text = words.live;
  const { state, quantity, refusal } = hands[side];
  const both = SIDES.every((one) => hands[one].state === state && (state === "within" || warns.includes(one)));
  const who = both && (state === "within" || state === "unseen") ? text.bothHands : words.hands[side];
  // Its warning is over, and its word stays for a moment.
  if (state === "held") return "";
  if (refusal !== null) {
    const what = quantity === null ? text.notSeen(who, refusalName(refusal)) : text.notMeasured(who, labelOf(quantity), refusalName(refusal));
    return `${sentenceCase(what)} ${refusalHelp(refusal)}`.trim();
  }
  if (state === "unsure" && quantity !== null) return text.mayBePast(who, labelOf(quantity));
  return `${text.told[state](who)}${state === "extreme" && !warns.includes(side) ? ` ${text.notWarnedOf}` : ""}`;
}
