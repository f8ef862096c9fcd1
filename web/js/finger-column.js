// One finger in the strip: its lift as a bar between its limits, a word and a shape for where that is, and cues.

import { element, setData, setText, svg } from "./dom.js";
import { fingerNumber } from "./fingers.js";
import { Steady } from "./steady.js";
import { STATES, sentenceCase, sizeAndDirection, stateOfZone } from "./words.js";

const WIDTH = 34;
const HEIGHT = 100;
const MARGIN = 1.36;
/** Numbers and, with reduced motion, bars change at most so often; a number lost for longer goes. */
const NUMBER_S = 0.4;
/** A cue comes and goes less often than a zone, and wants reading. */
const CUE_DWELL_S = 0.8;
/** Directions whose names in files would say more of an ordinary bend than is meant. */
const PLAIN = { hook: "bent", collapse: "bent back" };
const STILL = window.matchMedia("(prefers-reduced-motion: reduce)");

export class FingerColumn {
  #zone = new Steady();
  #cue = new Steady(CUE_DWELL_S);
  #doubt = new Steady(CUE_DWELL_S);
  #numberAt = -Infinity;
  #measuredAt = -Infinity;

  /** quantity: the one that the column shows, as the limits describe it. onLook: called when the column is looked at. */
  constructor(quantity, onLook) {
    this.quantity = quantity;
    const limits = (direction) => [direction.comfort, direction.extreme].filter((one) => one !== null);
    this.limited = Object.values(quantity.directions).some((direction) => limits(direction).length > 0);
    this.upwards = limits(quantity.directions[quantity.positive]);
    this.range = MARGIN * Math.max(1, ...this.upwards);
    this.shape = svg("use", { href: "#shape-within" });
    this.size = element("b");
    this.word = element("p", { className: "finger-word" });
    this.cues = element("p", { className: "finger-cue" });
    this.more = element("span", { className: "spoken" });
    this.fill = svg("rect", { class: "lift-fill", x: 8, y: HEIGHT, width: WIDTH - 16, height: 0 });
    this.needle = svg("rect", { class: "lift-needle", x: 2, y: HEIGHT, width: WIDTH - 4, height: 5, rx: 2 });
    this.whisker = svg("line", { class: "lift-whisker", x1: WIDTH / 2, x2: WIDTH / 2, y1: HEIGHT, y2: HEIGHT });
    this.node = element("div", { className: "finger", tabIndex: 0, attr: { role: "group", "data-finger": quantity.finger, "data-bar": String(this.upwards.length > 0),
      "data-limited": String(this.limited), "aria-label": sentenceCase(quantity.label) } },
    element("p", { className: "finger-name" }, element("b", {}, fingerNumber(quantity.finger)), " ", element("span", {}, quantity.finger)),
    this.upwards.length > 0 ? this.#bar() : null,
    element("p", { className: "finger-size" }, this.size, svg("svg", { class: "finger-shape", "aria-hidden": "true" }, this.shape)),
    this.word, this.cues, this.more);
    for (const kind of ["pointerenter", "focus"]) this.node.addEventListener(kind, () => onLook(this));
    for (const kind of ["pointerleave", "blur"]) this.node.addEventListener(kind, () => onLook(null));
    this.blank("");
  }

  /** A sentence on this finger for whoever points at it. */
  get about() {
    return this.more.textContent ? `${sentenceCase(this.quantity.label)}: ${this.more.textContent}` : "";
  }

  /** Why nothing is measured, once that has lasted; else "". */
  get reason() {
    return this.node.dataset.state === "unseen" ? this.more.textContent : "";
  }

  /** entry: the quantity as it came in the header; cues: those of this finger. */
  show(entry, cues, timeS) {
    if (timeS < this.#numberAt) this.#reset();
    const { state, pending } = this.#zone.update(timeS, stateOfZone(entry.zone));
    const words = cues.map((cue) => cue.words).join(", ");
    const cue = this.#cue.update(timeS, words);
    if (entry.display !== null) this.#measuredAt = timeS;
    const fresh = timeS - this.#numberAt >= NUMBER_S;
    if (entry.display !== null && (fresh || !STILL.matches)) this.#move(entry.display, entry.sd);
    if (fresh && (entry.display !== null || timeS - this.#measuredAt >= NUMBER_S)) {
      this.#numberAt = timeS;
      this.#number(entry);
    }
    const doubt = this.#doubt.update(timeS, this.#unsure(entry) ? "unsure" : "sure").state === "unsure" && state === "within";
    this.#set(state, pending, state === "unseen" ? "" : cue.state, doubt);
    if (state === "unseen" && entry.refusal) setText(this.more, `not measurable, ${entry.refusal}. ${entry.help}`);
    else if (state !== "unseen" && fresh) setText(this.more, [this.#told(entry), ...cues.map((one) => one.label)].filter(Boolean).join("; "));
  }

  /** Shows that nothing is measured now; with a reason it is a loss, without one simply not the time. */
  blank(why) {
    this.#reset();
    this.#number(null);
    this.#set(why ? "unseen" : "idle", false, "", false);
    setText(this.more, why);
  }

  #reset() {
    this.#zone.reset();
    this.#cue.reset();
    this.#doubt.reset();
    this.#numberAt = this.#measuredAt = -Infinity;
  }

  /** Whether a lift that reads within comfort may well not be: one standard deviation more would be beyond it. Of what
   * has no limit and two directions: whether one deviation leaves it open which one it is. */
  #unsure(entry) {
    if (!this.limited) return this.quantity.negative !== null && entry.display !== null && Math.abs(entry.display) < entry.sd;
    const { comfort } = this.quantity.directions[this.quantity.positive];
    return stateOfZone(entry.zone) === "within" && comfort !== null && entry.display !== null && entry.display + entry.sd > comfort;
  }

  #set(state, pending, cue, doubt) {
    setData(this.node, "state", state);
    setData(this.node, "unsure", String(doubt));
    setData(this.node, "pending", String(pending));
    const shape = `#shape-${state === "idle" ? "within" : state}`;
    if (this.shape.getAttribute("href") !== shape) this.shape.setAttribute("href", shape);
    // Without limits nothing is within or beyond any; then the direction is told.
    setText(this.word, state === "unseen" ? "Not measurable" : state === "idle" ? "" : doubt ? "Unsure" : this.limited ? STATES[state].word : this.direction);
    setText(this.cues, cue);
  }

  #number(entry) {
    const known = entry !== null && entry.display !== null;
    const { size, direction } = known ? sizeAndDirection(this.quantity, entry.display) : { size: "–", direction: "" };
    this.direction = PLAIN[direction] ?? direction;
    // The unit of lifts stands under the strip once.
    setText(this.size, size.replace(/\smm$/, ""));
  }

  #told(entry) {
    if (entry.display === null) return "";
    const { size, direction } = sizeAndDirection(this.quantity, entry.display);
    return `${size}${this.limited ? "" : ` ${PLAIN[direction] ?? direction}`} ±${Math.round(entry.sd)}${this.limited ? `, ${this.#unsure(entry) ? "not surely " : ""}${entry.zone}` : ", no limit set"}`;
  }

  #y(value) {
    return HEIGHT * (1 - Math.max(0, Math.min(1, value / this.range)));
  }

  #move(value, sd) {
    const y = this.#y(value);
    this.fill.setAttribute("y", y.toFixed(1));
    this.fill.setAttribute("height", (HEIGHT - y).toFixed(1));
    this.whisker.setAttribute("y1", this.#y(value - sd).toFixed(1));
    this.whisker.setAttribute("y2", this.#y(value + sd).toFixed(1));
    this.needle.setAttribute("y", Math.min(HEIGHT - 5, Math.max(0, y - 2.5)).toFixed(1));
  }

  /** From the strings at the bottom upwards, as the finger rises: dashed is the comfort limit, solid the extreme one; the
   * whisker is one standard deviation to either side. */
  #bar() {
    const { comfort, extreme } = this.quantity.directions[this.quantity.positive];
    const line = (value, kind) => (value === null ? null
      : svg("line", { class: `lift-limit ${kind}`, x1: 0, x2: WIDTH, y1: this.#y(value), y2: this.#y(value) }));
    return svg("svg", { class: "lift", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("rect", { class: "lift-track", x: 8, y: 0, width: WIDTH - 16, height: HEIGHT }), this.fill,
      ...[line(comfort, "comfort"), line(extreme, "extreme")].filter((one) => one !== null),
      svg("line", { class: "lift-strings", x1: 0, x2: WIDTH, y1: HEIGHT, y2: HEIGHT }), this.whisker, this.needle);
  }
}
