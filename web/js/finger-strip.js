// The fingers of the hand that stops the strings, one column each. Off until it is asked for; the choice is kept.

import { element, setText } from "./dom.js";
import { FINGERS, NO_FORCE, STOPPING_ROLES, fingersOnly, planeWords } from "./fingers.js";
import { FingerColumn } from "./finger-column.js";
import { recall, remember } from "./kept.js";
import { Steady } from "./steady.js";

const KEY = "posturewatch.fingers";

export class FingerStrip {
  #plane = new Steady(1.0);
  #columns = new Map();
  #looked = null;
  #about = "";

  /** node: the section to fill; button: switches it on and off. */
  constructor(node, button) {
    this.node = node;
    this.button = button;
    this.list = element("div", { className: "fingers" });
    this.foot = element("p", { className: "strip-foot" });
    this.node.append(this.list, this.foot);
    button.addEventListener("click", () => this.#turn(!this.on));
    this.#turn(recall(KEY));
    this.#renderFoot();
  }

  /** Builds a column for each finger; again only when the limits change. */
  describe(quantities) {
    const key = JSON.stringify(quantities);
    if (key === this.described) return;
    this.described = key;
    // The first quantity of a finger in the table is the one to show.
    const first = FINGERS.map(([finger]) => fingersOnly(quantities).find((one) => one.finger === finger)).filter(Boolean);
    this.#columns = new Map(first.map((quantity) => [quantity.name, new FingerColumn(quantity, (column) => this.#look(column))]));
    this.list.replaceChildren(...[...this.#columns.values()].map((column) => column.node));
  }

  /** Shows one frame. */
  show({ hands, time_s: timeS }) {
    if (!this.on) return;
    const hand = hands.find((one) => STOPPING_ROLES.includes(one.role));
    if (hand === undefined) return this.blank("It is not known which hand stops the strings; the settings tell the instrument.");
    const entries = [...this.#columns].map(([name, column]) => [hand.quantities[name], column]);
    for (const [entry, column] of entries) {
      column.show(entry, hand.cues.filter((cue) => cue.finger === column.quantity.finger), timeS);
    }
    const { state: plane } = this.#plane.update(timeS, hand.lift_plane ?? "unseen");
    const reasons = new Set(entries.map(([, column]) => column.reason));
    if (reasons.size === 1 && !reasons.has("")) this.#about = `Fingers ${[...reasons][0]}`;
    else this.#about = plane === "unseen" ? "" : `Lift in mm, ${planeWords(plane)}.`;
    this.#renderFoot();
  }

  /** Shows that nothing is measured now, with the reason where it is a loss. */
  blank(why = "") {
    this.#plane.reset();
    for (const column of this.#columns.values()) column.blank(why);
    this.#about = why;
    this.#renderFoot();
  }

  #look(column) {
    this.#looked = column;
    this.#renderFoot();
  }

  #renderFoot() {
    setText(this.foot, this.#looked?.about || [this.#about, NO_FORCE].filter(Boolean).join(" "));
  }

  #turn(on) {
    this.on = on;
    this.node.hidden = !on;
    this.button.setAttribute("aria-pressed", String(on));
    remember(KEY, on);
    if (on) this.blank();
  }
}
