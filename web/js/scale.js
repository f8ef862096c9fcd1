// One quantity of one hand: its number with direction and limit, and where it stands between its limits.

import { element, setData, setText, svg } from "./dom.js";
import { words } from "./language.js";
import { SteadyNumber } from "./steady.js";
import { LEVELS, directionName, directionOf, labelOf, sign } from "./terms.js";

/** @import { LiveQuantity, Quantity } from "./api.d.ts" */

const WIDTH = 200;
const HEIGHT = 18;
const MARGIN = 1.35;
const LEAST_RANGE = 20;
/** Smaller changes of an angle are within its own uncertainty. */
const STEP = 2;

export class Scale {
  /** The number that is shown. @type {number | null} */
  number = null;
  #steady = new SteadyNumber(STEP);
  #range;
  #size = element("b");
  #direction = element("span");
  #limit = element("span", { className: "scale-limit" });
  #needle = svg("rect", { class: "bar-needle", x: 0, y: 0, width: 8, height: HEIGHT, rx: 2 });
  #whisker = svg("line", { class: "bar-whisker", x1: 0, x2: 0, y1: HEIGHT / 2, y2: HEIGHT / 2 });

  /** @param {Quantity} quantity */
  constructor(quantity) {
    this.quantity = quantity;
    const limits = Object.values(quantity.directions).flatMap((one) => LEVELS.map((level) => one[level] ?? 0));
    this.#range = MARGIN * Math.max(LEAST_RANGE, ...limits);
    this.node = element("div", { className: "scale", title: labelOf(quantity.name) },
      element("p", { className: "scale-text" }, this.#size, " ", this.#direction, " ", this.#limit), this.#bar());
    this.blank();
  }

  /** The extreme limit in the direction of a value, else the comfort limit, or null. @type {(value: number) => number | null} */
  limitOf = (value) => {
    const limits = this.quantity.directions[directionOf(this.quantity, value)];
    return limits?.extreme ?? limits?.comfort ?? null;
  };

  /** @param {boolean} main whether this is the number to read from afar */
  setMain(main) {
    setData(this.node, "main", String(main));
  }

  /**
   * entry: the quantity as it came in the header; now: to show its number at once.
   * @param {LiveQuantity | null} entry
   * @param {number} timeS
   * @param {boolean} now
   */
  show(entry, timeS, now) {
    const value = entry?.display ?? null;
    const number = this.#steady.update(timeS, value, now);
    this.#move(number === null ? null : value, entry?.sd ?? null);
    this.#tell(number, value === null);
  }

  blank() {
    this.#steady.reset();
    this.#move(null, null);
    this.#tell(null, false);
  }

  /**
   * @param {number | null} number
   * @param {boolean} missing whether nothing is measured at this very moment
   */
  #tell(number, missing) {
    this.number = number;
    setData(this.node, "known", String(number !== null));
    setData(this.node, "missing", String(missing));
    if (number === null) {
      setText(this.#size, "–");
      setText(this.#direction, labelOf(this.quantity.name));
      setText(this.#limit, missing ? words.zones.unseen : "");
      return;
    }
    const limit = this.limitOf(number);
    setText(this.#size, `${Math.round(Math.abs(number))}${sign(this.quantity.unit)}`);
    setText(this.#direction, directionName(directionOf(this.quantity, number)));
    setText(this.#limit, limit === null ? "" : words.live.limit(`${Math.round(limit)}${sign(this.quantity.unit)}`));
  }

  /**
   * @param {number | null} value
   * @param {number | null} sd
   */
  #move(value, sd) {
    for (const one of [this.#needle, this.#whisker]) one.setAttribute("visibility", value === null ? "hidden" : "visible");
    if (value === null) return;
    this.#needle.setAttribute("x", (this.#x(value) - 4).toFixed(1));
    this.#whisker.setAttribute("x1", this.#x(value - (sd ?? 0)).toFixed(1));
    this.#whisker.setAttribute("x2", this.#x(value + (sd ?? 0)).toFixed(1));
  }

  /** @param {number} value */
  #x(value) {
    const share = Math.max(-1, Math.min(1, value / this.#range));
    return WIDTH / 2 + share * (WIDTH / 2 - 5);
  }

  /** The comfort range as a broad band, extreme limits as lines; the whisker is one standard deviation to either side. */
  #bar() {
    const { directions } = this.quantity;
    const edges = Object.values(directions).map((one) => one.sign * (one.comfort ?? one.extreme ?? this.#range));
    const [low, high] = [this.#x(Math.min(0, ...edges)), this.#x(Math.max(0, ...edges))];
    const lines = Object.values(directions).flatMap((one) => (one.extreme === null ? [] : [this.#x(one.sign * one.extreme)]));
    return svg("svg", { class: "scale-bar", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("rect", { class: "bar-track", x: 0, y: HEIGHT / 2 - 1, width: WIDTH, height: 2 }),
      svg("rect", { class: "bar-comfort", x: low, y: HEIGHT / 2 - 4, width: high - low, height: 8 }),
      ...lines.map((x) => svg("line", { class: "bar-limit", x1: x, x2: x, y1: 1, y2: HEIGHT - 1 })), this.#whisker, this.#needle);
  }
}
