// One finger in the strip: its lift as a bar between its limits, a word and a shape for where that is, and cues.

import { element, setData, setText, svg } from "./dom.js";
import { sentenceCase } from "./format.js";
import { words } from "./language.js";
import { HOLD_S, Steady, SteadyNumber, SteadyState } from "./steady.js";
import { LEVELS, cueLabel, cueWords, directionName, directionOf, fingerName, fingerNumber, halfInterval, labelOf, refusalHelp, refusalName, sign, signedLimits, stateOf } from "./terms.js";

/** @import { LiveCue, LiveQuantity, Quantity, State } from "./api.d.ts" */

const WIDTH = 34;
const HEIGHT = 100;
const MARGIN = 1.36;
const STEP = 1;
const STILL = window.matchMedia("(prefers-reduced-motion: reduce)");

export class FingerColumn {
  #zone = new SteadyState();
  #cue = /** @type {Steady<string>} */ (new Steady());
  #number = new SteadyNumber(STEP);
  #movedAt = -Infinity;
  #toldAt = -Infinity;
  #limits;
  #range;
  #direction = "";
  #shape = svg("use", { href: "#shape-within" });
  #size = element("b");
  #word = element("p", { className: "finger-word" });
  #cues = element("p", { className: "finger-cue" });
  #more = element("span", { className: "spoken" });
  #fill = svg("rect", { class: "lift-fill", x: 8, y: HEIGHT, width: WIDTH - 16, height: 0 });
  #needle = svg("rect", { class: "lift-needle", x: 2, y: HEIGHT, width: WIDTH - 4, height: 5, rx: 2 });
  #whisker = svg("line", { class: "lift-whisker", x1: WIDTH / 2, x2: WIDTH / 2, y1: HEIGHT, y2: HEIGHT });

  /**
   * @param {Quantity} quantity the one that the column shows
   * @param {(column: FingerColumn | null) => void} onLook called when the column is looked at
   */
  constructor(quantity, onLook) {
    this.quantity = quantity;
    const finger = quantity.finger ?? "";
    this.#limits = signedLimits(quantity);
    const upwards = LEVELS.flatMap((level) => quantity.directions[quantity.positive]?.[level] ?? []);
    this.#range = MARGIN * Math.max(1, ...upwards);
    this.node = element("div", { className: "finger", tabIndex: 0, attr: { role: "group", "data-finger": finger, "data-bar": String(upwards.length > 0),
      "data-limited": String(this.#limits.length > 0), "aria-label": sentenceCase(labelOf(quantity.name)) } },
    element("p", { className: "finger-name" }, element("b", {}, fingerNumber(finger)), " ", element("span", {}, fingerName(finger))),
    upwards.length > 0 ? this.#bar() : null,
    element("p", { className: "finger-size" }, this.#size, svg("svg", { class: "finger-shape", "aria-hidden": "true" }, this.#shape)),
    this.#word, this.#cues, this.#more);
    for (const kind of ["pointerenter", "focus"]) this.node.addEventListener(kind, () => onLook(this));
    for (const kind of ["pointerleave", "blur"]) this.node.addEventListener(kind, () => onLook(null));
    this.blank("");
  }

  /** A sentence on this finger for whoever points at it. */
  get about() {
    return this.#more.textContent ? `${sentenceCase(labelOf(this.quantity.name))}: ${this.#more.textContent}` : "";
  }

  /** Why nothing is measured, once that has lasted; else "". */
  get reason() {
    return this.node.dataset.state === "unseen" ? this.#more.textContent : "";
  }

  /**
   * cues: those of this finger.
   * @param {LiveQuantity} entry
   * @param {readonly LiveCue[]} cues
   * @param {number} timeS
   */
  show(entry, cues, timeS) {
    if (timeS < this.#movedAt) this.#reset();
    const before = this.node.dataset.state;
    const { state, pending } = this.#zone.update(timeS, this.#raw(entry));
    const cue = this.#cue.update(timeS, cues.map((one) => cueWords(one.cue)).join(", "));
    if (entry.display !== null && (!STILL.matches || timeS - this.#movedAt >= HOLD_S)) {
      this.#movedAt = timeS;
      this.#move(entry.display, halfInterval(entry.sd));
    }
    this.#tellNumber(this.#number.update(timeS, entry.display, state !== before));
    this.#set(state, pending, state === "unseen" ? "" : cue);
    if (state === "unseen" && entry.refusal) setText(this.#more, words.fingers.notMeasurable(refusalName(entry.refusal), refusalHelp(entry.refusal)));
    else if (state !== "unseen" && (state !== before || timeS - this.#toldAt >= HOLD_S)) {
      this.#toldAt = timeS;
      setText(this.#more, [this.#told(entry), ...cues.map(cueLabel)].filter(Boolean).join("; "));
    }
  }

  /**
   * Shows that nothing is measured now; with a reason it is a loss, without one simply not the time.
   * @param {string} why
   */
  blank(why) {
    this.#reset();
    this.#tellNumber(null);
    this.#set(why ? "unseen" : "idle", false, "");
    setText(this.#more, why);
  }

  #reset() {
    this.#zone.reset();
    this.#cue.reset();
    this.#number.reset();
    this.#movedAt = this.#toldAt = -Infinity;
  }

  /**
   * By the rule for every angle: in comfort range with the whole 90 % interval alone. Of what has no limit and two
   * directions, unsure is where the interval leaves open which one it is.
   * @param {LiveQuantity} entry
   * @returns {State}
   */
  #raw(entry) {
    if (this.#limits.length > 0 || entry.value === null) return stateOf(entry.value, entry.sd, this.#limits);
    return this.quantity.negative !== null && Math.abs(entry.value) < halfInterval(entry.sd) ? "unsure" : "within";
  }

  /**
   * @param {State} state
   * @param {boolean} pending
   * @param {string} cue
   */
  #set(state, pending, cue) {
    setData(this.node, "state", state);
    setData(this.node, "pending", String(pending));
    const shape = `#shape-${state === "idle" ? "within" : state}`;
    if (this.#shape.getAttribute("href") !== shape) this.#shape.setAttribute("href", shape);
    // Without limits nothing is in or past any range; then the direction is told.
    setText(this.#word, state === "within" && this.#limits.length === 0 ? this.#direction : words.fingers.states[state]);
    setText(this.#cues, cue);
  }

  /** @param {number | null} number */
  #tellNumber(number) {
    this.#direction = number === null ? "" : words.fingers.directions[directionOf(this.quantity, number)] ?? directionName(directionOf(this.quantity, number));
    // The unit of lifts stands under the strip once.
    setText(this.#size, number === null ? "–" : `${Math.round(Math.abs(number))}${this.quantity.unit === "mm" ? "" : sign(this.quantity.unit)}`);
  }

  /** @param {LiveQuantity} entry */
  #told(entry) {
    if (entry.display === null || entry.sd === null) return "";
    const size = `${Math.round(Math.abs(entry.display))}${sign(this.quantity.unit).replace(" ", "\u00a0")}`;
    const spread = `±${Math.round(halfInterval(entry.sd))}`;
    if (this.#limits.length === 0) return `${size} ${this.#direction} ${spread}, ${words.fingers.noLimit}`;
    const state = this.#raw(entry);
    return `${size} ${spread}, ${state === "unsure" ? words.fingers.notCertain : words.states[state]}`;
  }

  /** @param {number} value */
  #y(value) {
    return HEIGHT * (1 - Math.max(0, Math.min(1, value / this.#range)));
  }

  /**
   * @param {number} value
   * @param {number} half of its interval
   */
  #move(value, half) {
    const y = this.#y(value);
    this.#fill.setAttribute("y", y.toFixed(1));
    this.#fill.setAttribute("height", (HEIGHT - y).toFixed(1));
    this.#whisker.setAttribute("y1", this.#y(value - half).toFixed(1));
    this.#whisker.setAttribute("y2", this.#y(value + half).toFixed(1));
    this.#needle.setAttribute("y", Math.min(HEIGHT - 5, Math.max(0, y - 2.5)).toFixed(1));
  }

  /** From the strings at the bottom upwards, as the finger rises: dashed is the comfort limit, solid the extreme one; the
   * whisker is the 90 % interval. */
  #bar() {
    const limits = this.quantity.directions[this.quantity.positive];
    const lines = LEVELS.flatMap((level) => {
      const value = limits?.[level] ?? null;
      return value === null ? [] : [svg("line", { class: `lift-limit ${level}`, x1: 0, x2: WIDTH, y1: this.#y(value), y2: this.#y(value) })];
    });
    return svg("svg", { class: "lift", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("rect", { class: "lift-track", x: 8, y: 0, width: WIDTH - 16, height: HEIGHT }), this.#fill, ...lines,
      svg("line", { class: "lift-strings", x1: 0, x2: WIDTH, y1: HEIGHT, y2: HEIGHT }), this.#whisker, this.#needle);
  }
}
