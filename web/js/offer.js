// The discomfort check in one tap, beside what goes on: nothing waits for it, and it goes when it is not answered.

import { get, send } from "./actions.js";
import { openCheck } from "./check.js";
import { element } from "./dom.js";
import { words } from "./language.js";
import { adviceNode } from "./log/check-list.js";
import { once } from "./once.js";

/** @import { Answer, Check, CheckForm, PracticeState } from "./api.d.ts" */
/** @typedef {{ moment: "before" | "after", sessionId: string, fail: (sentence: string) => void }} Asked */

/** So long after its beginning a practice still asks how it was before. */
const ASKED_S = 60;

/**
 * The question with a button for each rating; null where the form cannot be had.
 * @param {Asked} asked
 * @param {() => void} onAnswer
 * @returns {Promise<HTMLElement | null>}
 */
export async function ratingStrip(asked, onAnswer = () => {}) {
  const text = words.check;
  /** @type {Answer<CheckForm>} */
  const { body: form } = await get("checks/form");
  if (!form) return null;
  const { moment, sessionId, fail } = asked;
  const { lowest, highest } = form.scale;
  const node = element("div", { className: "offer", attr: { role: "group", "aria-label": text.ask[moment] } });
  // One rating at a time, whichever button it is of.
  const rate = once(async (/** @type {number} */ rating) => {
    /** @type {Answer<Check>} */
    const { body, error } = await send("POST", "checks", { moment, rating, session_id: sessionId });
    if (!body) return fail(error ?? "");
    onAnswer();
    return show(told(body, async () => {
      const { error: kept } = await send("DELETE", `checks/${body.id}`);
      if (kept) fail(kept);
      else show(question());
    }));
  });
  const question = () => [
    element("p", {}, element("b", {}, text.ask[moment]), element("span", { className: "scale-words" }, ` ${text.scale(lowest, highest)}.`)),
    element("div", { className: "offer-ratings" }, ...Array.from({ length: highest - lowest + 1 }, (_, i) => press(String(lowest + i), () => rate(lowest + i)))),
    // While playing there is time for one tap.
    moment === "before" ? null : press(text.moreOf, () => openCheck({ sessionId, fail, moment, onKept: () => { onAnswer(); node.hidden = true; } }), "more"),
  ];
  const show = (/** @type {readonly (Node | null)[]} */ what) => node.replaceChildren(...what.filter((one) => one !== null));
  show(question());
  return node;
}

/**
 * @param {Check} check
 * @param {() => void} takeBack
 */
const told = (check, takeBack) => [
  element("p", { attr: { role: "status" } }, `✓ ${words.check.kept(check.rating, check.moment)}`), adviceNode(check.advice), press(words.change, takeBack, "more")];

/**
 * @param {string} label
 * @param {() => unknown} onclick
 * @param {string} [more]
 */
const press = (label, onclick, more = "") => element("button", { type: "button", className: `bar-button ${more}`.trim(), onclick: once(onclick) }, label);

/** Asks over the picture, below it on a narrow page, how it was before, once for each practice, in its first minute. */
export class CheckOffer {
  /** @type {string | null} */
  #asked = null;
  #answered = false;
  /** Of the practice that is asked about now; null once it is not. @type {string | null} */
  #asking = null;
  #node;
  #fail;

  /**
   * @param {HTMLElement} node where to ask
   * @param {(sentence: string) => void} fail
   */
  constructor(node, fail) {
    this.#node = node;
    this.#fail = fail;
  }

  /** @param {PracticeState} state */
  update(state) {
    const { phase, session_id: sessionId, practised_s: since } = state;
    if (phase !== "watching" || sessionId === null) this.#hide();
    else if (this.#asked !== sessionId && since < ASKED_S) this.#ask(sessionId);
    else if (since >= ASKED_S && !this.#answered) this.#hide();
  }

  /** @param {string} sessionId */
  async #ask(sessionId) {
    this.#asked = this.#asking = sessionId;
    this.#answered = false;
    /** @type {Answer<{ checks: (Check & { session_id: string | null })[] }>} */
    const { body } = await get("checks");
    if (!body || body.checks.some((one) => one.session_id === sessionId)) return;
    const strip = await ratingStrip({ moment: "before", sessionId, fail: this.#fail }, () => { this.#answered = true; });
    // Meanwhile the practice may have ended, or gone on for too long to be asked.
    if (strip === null || this.#asking !== sessionId) return;
    this.#node.replaceChildren(strip, press(words.hide, () => this.#hide(), "more"));
    this.#node.hidden = false;
  }

  #hide() {
    this.#asking = null;
    this.#node.hidden = true;
    this.#node.replaceChildren();
  }
}
