// What is measured now, large under the picture: what to do, how much is done, and what speaks against the result.

import { byId, element, setData } from "../dom.js";
import { words } from "../language.js";
import { say } from "../log/parts.js";
import { leaning } from "../terms.js";
import { translated } from "../translated.js";
import { button } from "./parts.js";

/** @import { Act, Measuring } from "./api.d.ts" */

export class MeasuringBox {
  #node = byId("measuring", HTMLElement);
  #act;
  #shown = "";
  #said = "";

  /** @param {Act} act */
  constructor(act) {
    this.#act = act;
  }

  /** @param {Measuring | null} now */
  show(now) {
    this.#node.hidden = now === null;
    setData(document.body, "measuring", String(now !== null && !now.done && now.fault === null));
    const key = JSON.stringify(now);
    if (key === this.#shown) return;
    this.#shown = key;
    this.#node.replaceChildren(...(now === null ? [] : this.#content(now)));
  }

  /** @param {Measuring} now */
  #content(now) {
    const text = words.setup.hand;
    const told = now.fault || now.question ? translated(now.fault ?? now.question ?? "") : text.hints[now.hint];
    if (told !== this.#said) say(told);
    this.#said = told;
    const value = now.done && now.value_deg !== null ? ` ${Math.round(now.value_deg)}° ± ${Math.max(1, Math.round(now.sd_deg ?? 0))}°` : "";
    return [element("p", {}, element("b", {}, heading(now)), " ", `${told}${value}`),
      element("progress", { max: 1, value: now.part, attr: { "aria-label": heading(now) } }), element("p", { className: "row" }, ...this.#buttons(now))];
  }

  /** @param {Measuring} now */
  #buttons(now) {
    const text = words.setup.hand;
    const { what, side, quantity, direction } = now;
    const again = button(text.retry, () => this.#act("POST", "setup/measure", { what, side, quantity, direction }));
    const end = button(now.done || now.fault ? words.close : text.cancel, () => this.#act("POST", "setup/measure/stop"));
    if (now.question !== null) return [button(text.keep, () => this.#act("POST", "setup/measure/keep"), "main"), again, end];
    return now.fault !== null || now.done ? [again, end] : [end];
  }
}

/** @param {Measuring} now */
function heading({ what, side, quantity, direction }) {
  const text = words.setup.hand.now;
  const hand = side ? words.hands[side] : "";
  return what === "end" ? text.end(hand, leaning(quantity ?? "", direction ?? "")) : text[what](hand);
}
