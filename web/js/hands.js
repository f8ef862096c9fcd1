// One hand's panel: the word and shape to read from two metres, the number nearest its limit, and the others.

import { element, setData, setText, svg } from "./dom.js";
import { sentenceCase } from "./format.js";
import { words } from "./language.js";
import { Scale } from "./scale.js";
import { STRAINED, Steady, SteadyState, WORD_HOLD_S } from "./steady.js";
import { WRIST, handName, stateKey } from "./terms.js";

/** @import { LiveHand, Side, State, Warned } from "./api.d.ts" */
/** A state, the quantity that decides it, and why that has no number. @typedef {{ state: State, quantity: string | null, refusal: string | null }} Shown */

/** Why a state is shown: that of the latest frame in it, which changes no faster than it can be read. */
class SteadyReason {
  /** @type {Shown | null} */
  #shown = null;
  #since = -Infinity;

  /**
   * @param {number} timeS
   * @param {State} state the one that is shown
   * @param {Shown} raw that of the frame
   * @returns {Shown}
   */
  update(timeS, state, raw) {
    const shown = this.#shown;
    const fresh = shown?.state !== state;
    if (fresh && raw.state !== state) this.#shown = { state, quantity: null, refusal: null };
    else if (fresh || (raw.state === state && (shown.quantity === null || timeS - this.#since >= WORD_HOLD_S))) this.#shown = { ...raw };
    if (this.#shown !== shown) this.#since = timeS;
    return this.#shown ?? raw;
  }

  reset() {
    this.#shown = null;
  }
}

export class HandPanel {
  #steady = new SteadyState();
  #main = /** @type {Steady<string>} */ (new Steady());
  #why = new SteadyReason();
  #scales;
  #shape = svg("use", { href: "#shape-within" });
  #word = element("p", { className: "word" });
  #warnsNow = element("span", { className: "warns-now" });
  // A bell where there is no room for the word, which is read out all the same.
  #warns = element("button", { type: "button", className: "warns", hidden: true }, element("span", { className: "warns-face" },
    svg("svg", { class: "bell", viewBox: "0 0 24 24", "aria-hidden": "true" }, svg("path", { d: "M5 17h14l-2-3v-4a5 5 0 0 0-10 0v4zM10 20h4" })),
    element("span", { className: "warns-word" }, words.live.warns), " ", this.#warnsNow));
  /** @type {State | null} */
  #last = null;

  /**
   * node: an empty element with data-side; onWarns(side, on): the player switches this hand's warnings.
   * @param {HTMLElement} node
   * @param {(side: Side, on: boolean) => void} onWarns
   */
  constructor(node, onWarns) {
    this.node = node;
    this.side = /** @type {Side} */ (node.dataset.side);
    this.#scales = WRIST.map((quantity) => new Scale(quantity, this.side));
    const [hand, role] = [words.hands[this.side], handName(this.side)];
    const name = role.toLowerCase() === hand.toLowerCase() ? [hand] : [sentenceCase(words.sides[this.side]), element("span", { className: "role" }, ` · ${role}`)];
    node.replaceChildren(
      svg("svg", { class: "shape", "aria-hidden": "true" }, this.#shape),
      element("h2", { className: "hand-name" }, ...name),
      this.#warns, this.#word, element("div", { className: "scales" }, ...this.#scales.map((scale) => scale.node)));
    this.#warns.id = `warns-${this.side}`;
    this.#warns.addEventListener("click", () => onWarns(this.side, this.#warns.getAttribute("aria-pressed") !== "true"));
    this.blank();
  }

  /** @param {boolean} on whether this hand is warned of */
  setWarns(on) {
    this.#warns.hidden = false;
    this.#warns.setAttribute("aria-pressed", String(on));
    setText(this.#warnsNow, on ? words.live.on : words.live.off);
  }

  /**
   * Shows one frame; returns what is shown now.
   * @param {LiveHand} hand
   * @param {number} timeS
   * @param {readonly Warned[]} warnings
   * @returns {Shown}
   */
  show(hand, timeS, warnings) {
    const raw = rawState(hand, warnings);
    const { state, pending } = this.#steady.update(timeS, raw.state);
    const changed = state !== this.#last;
    this.#last = state;
    const warned = warnings.filter((one) => one.side === this.side).map((one) => one.quantity);
    for (const scale of this.#scales) {
      // A word for strain never stands without the number that it is of, however lately that came.
      const told = warned.includes(scale.quantity.name) || (STRAINED.includes(state) && raw.quantity === scale.quantity.name);
      // And none beside the word that the hand is not seen, as nothing is drawn on it then.
      scale.show(hand.quantities[scale.quantity.name] ?? null, timeS, changed || (told && scale.number === null), state === "unseen");
    }
    if (changed) this.#main.reset();
    const main = this.#mainOf(timeS, warned);
    for (const scale of this.#scales) scale.setMain(scale.quantity.name === main);
    this.#set(state, pending);
    return this.#why.update(timeS, state, raw);
  }

  /**
   * Shows that nothing is measured now: as a loss, or simply because it is not the time.
   * @param {boolean} [lost]
   * @returns {Shown}
   */
  blank(lost = false) {
    for (const one of [this.#steady, this.#main, this.#why]) one.reset();
    this.#scales.forEach((scale, i) => {
      scale.blank();
      scale.setMain(i === 0);
    });
    this.#last = lost ? "unseen" : "idle";
    this.#set(this.#last, false);
    return { state: this.#last, quantity: null, refusal: null };
  }

  /**
   * The quantity to read from afar: the one that is warned of, since the sentence above tells of it, else the one
   * nearest its limit, which changes no faster than it can be read.
   * @param {number} timeS
   * @param {readonly string[]} warned
   */
  #mainOf(timeS, warned) {
    const has = (/** @type {string} */ name) => this.#scales.some((one) => one.quantity.name === name && one.number !== null);
    const [told] = warned.filter(has);
    if (told !== undefined) {
      this.#main.reset();
      return this.#main.update(timeS, told);
    }
    const nearest = this.#nearest();
    const kept = this.#main.update(timeS, nearest);
    return has(kept) ? kept : nearest;
  }

  /** The quantity whose number is nearest its limit, or farthest past it; the first where none has a number. */
  #nearest() {
    let [nearest, most] = [this.#scales[0]?.quantity.name ?? "", -1];
    for (const { quantity, limitOf, number: value } of this.#scales) {
      const share = value === null ? -1 : Math.abs(value) / (limitOf(value) ?? Infinity);
      if (share > most) [nearest, most] = [quantity.name, share];
    }
    return nearest;
  }

  /**
   * @param {State} state
   * @param {boolean} pending
   */
  #set(state, pending) {
    setData(this.node, "state", state);
    setData(this.node, "pending", String(pending));
    setText(this.#word, sentenceCase(words.states[state]));
    const shape = `#shape-${state === "idle" ? "within" : state}`;
    if (this.#shape.getAttribute("href") !== shape) this.#shape.setAttribute("href", shape);
  }
}

/**
 * The hand's state in this very frame. What is warned of elsewhere, as a finger is, says nothing of the wrist.
 * @param {LiveHand} hand
 * @param {readonly Warned[]} warnings
 * @returns {Shown}
 */
function rawState({ side, verdict }, warnings) {
  const held = warnings.some((one) => one.side === side && WRIST.some(({ name }) => name === one.quantity));
  return { state: held ? "held" : stateKey(verdict.state), quantity: verdict.quantity, refusal: verdict.refusal };
}
