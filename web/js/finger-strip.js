// The fingers of the hand on the fingerboard, one column each. Off until it is asked for; the choice is kept.

import { element, setText } from "./dom.js";
import { FingerColumn } from "./finger-column.js";
import { recall, remember } from "./kept.js";
import { words } from "./language.js";
import { Steady } from "./steady.js";
import { FINGERBOARD_SIDES, FINGERS, NO_FORCE, OF_FINGERS, planeWords } from "./terms.js";

/** @import { LiveHeader } from "./api.d.ts" */

const KEY = "posturewatch.fingers";
const NO_PLANE = "unseen";

export class FingerStrip {
  #plane = /** @type {Steady<string>} */ (new Steady());
  /** @type {FingerColumn | null} */
  #looked = null;
  #about = "";
  // The first quantity of a finger in the table is the one to show.
  #columns = FINGERS.flatMap((finger) => OF_FINGERS.find((one) => one.finger === finger) ?? [])
    .map((quantity) => new FingerColumn(quantity, (column) => this.#look(column)));
  #foot = element("p", { className: "strip-foot" });
  #node;
  #button;
  #on = false;

  /**
   * @param {HTMLElement} node the section to fill
   * @param {HTMLElement} button switches it on and off
   */
  constructor(node, button) {
    this.#node = node;
    this.#button = button;
    node.setAttribute("aria-label", words.fingers.title);
    node.append(element("div", { className: "fingers" }, ...this.#columns.map((column) => column.node)), this.#foot);
    button.addEventListener("click", () => this.#turn(!this.#on));
    this.#turn(recall(KEY));
  }

  /**
   * Shows one frame.
   * @param {LiveHeader} header
   */
  show({ hands, time_s: timeS }) {
    if (!this.#on) return;
    const hand = hands.find((one) => FINGERBOARD_SIDES.includes(one.side));
    if (hand === undefined) {
      this.blank(words.fingers.whichHand);
      return;
    }
    for (const column of this.#columns) {
      const entry = hand.quantities[column.quantity.name];
      if (entry) column.show(entry, hand.cues.filter((cue) => cue.finger === column.quantity.finger), timeS);
    }
    const plane = this.#plane.update(timeS, hand.lift_plane ?? NO_PLANE);
    const [reason, ...others] = new Set(this.#columns.map((column) => column.reason));
    if (reason && others.length === 0) this.#about = words.fingers.noneNow(reason);
    else this.#about = plane === NO_PLANE ? "" : words.fingers.liftIn(planeWords(plane));
    this.#renderFoot();
  }

  /**
   * Shows that nothing is measured now, with the reason where it is a loss.
   * @param {string} [why]
   */
  blank(why = "") {
    this.#plane.reset();
    for (const column of this.#columns) column.blank(why);
    this.#about = why;
    this.#renderFoot();
  }

  /** @param {FingerColumn | null} column */
  #look(column) {
    this.#looked = column;
    this.#renderFoot();
  }

  #renderFoot() {
    setText(this.#foot, this.#looked?.about || [this.#about, NO_FORCE].filter(Boolean).join(" "));
  }

  /** @param {boolean} on */
  #turn(on) {
    this.#on = on;
    this.#node.hidden = !on;
    this.#button.setAttribute("aria-pressed", String(on));
    remember(KEY, on);
    if (on) this.blank();
  }
}
