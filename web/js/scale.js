// One quantity of one hand: its number with direction and limit, and where it stands between its limits, on a small hand.

import { Dial } from "./dial.js";
import { element, setData, setText } from "./dom.js";
import { words } from "./language.js";
import { SteadyNumber } from "./steady.js";
import { directionName, directionOf, labelOf, limitsFor, sign, signedLimits } from "./terms.js";

/** @import { LiveQuantity, Quantity, Side } from "./api.d.ts" */

/** Smaller changes of an angle are within its own uncertainty. */
const STEP = 2;

export class Scale {
  /** The number that is shown. @type {number | null} */
  number = null;
  #steady = new SteadyNumber(STEP);
  #size = element("b");
  #direction = element("span");
  #limit = element("span", { className: "scale-limit" });
  #dial;
  #side;

  /**
   * @param {Quantity} quantity
   * @param {Side} side
   */
  constructor(quantity, side) {
    this.quantity = quantity;
    this.#side = side;
    this.#dial = new Dial(quantity.name, side, signedLimits(quantity, side));
    this.node = element("div", { className: "scale", title: labelOf(quantity.name) },
      element("p", { className: "scale-text" }, this.#size, " ", this.#direction, " ", this.#limit), this.#dial.node);
    this.blank();
  }

  /** The extreme limit in the direction of a value, else the comfort limit, or null. @type {(value: number) => number | null} */
  limitOf = (value) => {
    const direction = this.quantity.directions[directionOf(this.quantity, value)];
    const limits = direction && limitsFor(direction, this.#side);
    return limits?.extreme ?? limits?.comfort ?? null;
  };

  /** @param {boolean} main whether this is the number to read from afar */
  setMain(main) {
    setData(this.node, "main", String(main));
  }

  /**
   * entry: the quantity as it came in the header; now: to show its number at once; hidden: or none.
   * @param {LiveQuantity | null} entry
   * @param {number} timeS
   * @param {boolean} now
   * @param {boolean} hidden
   */
  show(entry, timeS, now, hidden) {
    const value = entry?.display ?? null;
    const steady = this.#steady.update(timeS, value, now);
    const number = hidden ? null : steady;
    this.#dial.move(number === null ? null : value, entry?.sd ?? null);
    this.#tell(number, hidden || value === null);
  }

  blank() {
    this.#steady.reset();
    this.#dial.move(null, null);
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
}
