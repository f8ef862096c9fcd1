// One hand's panel: the word and shape to read from two metres, the numbers, or what would help to get them.

import { setData, setText } from "./dom.js";
import { Scale } from "./scale.js";
import { Steady } from "./steady.js";
import { STATES, sentenceCase, stateOfZone, worst } from "./words.js";

export class HandPanel {
  #steady = new Steady();
  #scales = new Map();

  constructor(node) {
    this.node = node;
    this.side = node.dataset.side;
    this.word = node.querySelector(".word");
    this.shape = node.querySelector("use");
    this.role = node.querySelector(".role");
    this.help = node.querySelector(".help");
    this.scales = node.querySelector(".scales");
  }

  /** Builds one scale per measured quantity; again only when the limits change. */
  describe(quantities) {
    const key = JSON.stringify(quantities);
    if (key === this.described) return;
    this.described = key;
    this.#scales = new Map(quantities.map((quantity) => [quantity.name, new Scale(quantity)]));
    this.scales.replaceChildren(...[...this.#scales.values()].map((scale) => scale.node));
  }

  /** Shows one frame; returns the state now shown. */
  show(hand, timeS, warnings) {
    const entries = Object.entries(hand.quantities).filter(([name]) => this.#scales.has(name));
    // What is warned of elsewhere, as a finger is, says nothing of the scales here.
    const warned = warnings.some((warning) => warning.side === this.side && this.#scales.has(warning.quantity));
    const raw = warned ? "held" : worst(entries.map(([, entry]) => stateOfZone(entry.zone)));
    const { state, pending } = this.#steady.update(timeS, raw);
    for (const [name, entry] of entries) this.#scales.get(name)?.show(entry);
    setText(this.role, hand.role ? `· ${hand.role}` : "");
    this.#set(state, pending, state === "unseen" ? reason(entries) : "");
    return state;
  }

  /** Shows that nothing is measured now; with a reason it is a loss, without one simply not the time. */
  blank(why = "") {
    this.#steady.reset();
    for (const scale of this.#scales.values()) scale.show(null);
    this.#set(why ? "unseen" : "idle", false, why);
  }

  #set(state, pending, help) {
    setData(this.node, "state", state);
    setData(this.node, "pending", String(pending));
    setText(this.word, STATES[state].word);
    this.word.title = STATES[state].meaning;
    const shape = `#shape-${state === "idle" ? "within" : state}`;
    if (this.shape.getAttribute("href") !== shape) this.shape.setAttribute("href", shape);
    setText(this.help, help);
    this.help.hidden = !help;
    this.scales.hidden = Boolean(help);
  }
}

function reason(entries) {
  const refused = entries.map(([, entry]) => entry).find((entry) => entry.refusal);
  return refused ? `${sentenceCase(refused.refusal)}. ${refused.help}` : "Not measurable.";
}
