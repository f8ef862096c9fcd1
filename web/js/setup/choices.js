// The first two steps: what is played, and where it is seen from.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { decimal } from "../format.js";
import { words } from "../language.js";
import { SIDES } from "../terms.js";
import { instrumentSign, placeDrawing } from "./drawing.js";
import { microphoneField } from "./microphone.js";
import { button, check, select, step, tiles, told } from "./parts.js";

/** @import { Answer, Side } from "../api.d.ts" */
/** @import { Camera, Choices, Choose, Instrument, Microphones, Preview } from "./api.d.ts" */

const SIZES = ["640x360", "640x480", "1280x720", "1920x1080"];
const RATES = ["15", "24", "30", "60"];

/**
 * @param {Choices} choices
 * @param {readonly Instrument[]} instruments
 * @param {Choose} choose
 * @param {boolean} open whether all is shown, or only what was chosen
 * @param {() => void} onOpen
 */
export function playStep(choices, instruments, choose, open, onOpen) {
  const text = words.setup.play;
  const chosen = instruments.find((one) => one.name === choices.instrument);
  const hands = chosen?.keyboard ? text.keys : choices.handedness === "right" ? text.right : text.left;
  if (!open) {
    return step(1, text.title, element("p", { className: "row" }, element("b", {}, `${chosen ? told(chosen.label) : choices.instrument}, ${hands.toLowerCase()}`), button(words.setup.change, onOpen)));
  }
  return step(1, text.title,
    tiles(text.instrument, "instrument", instruments.map((one) => ({ value: one.name, label: told(one.label), picture: instrumentSign(one) })), choices.instrument, (instrument) => choose({ instrument })),
    chosen?.note ? element("p", { className: "hint" }, told(chosen.note)) : null,
    ...(chosen?.keyboard ? [] : [element("h3", {}, text.handedness),
      tiles(text.handedness, "handedness", [{ value: "right", label: text.right, about: text.rightAbout }, { value: "left", label: text.left, about: text.leftAbout }],
        choices.handedness, (value) => choose({ handedness: value === "left" ? "left" : "right" }), "two")]));
}

/** Keeps what was found while the page is open, so that cameras are looked for once, and when asked. */
export class CameraStep {
  /** @type {Camera[] | null} */
  #cameras = null;
  #looking = false;
  /** @type {Microphones | null} */
  #sound = null;
  #listening = 0;
  #choose;
  #changed;
  #address = element("input", { type: "url", maxLength: 2000, placeholder: "http://", autocomplete: "off", spellcheck: false });

  /**
   * changed: asks for the step to be shown anew.
   * @param {Choose} choose
   * @param {() => void} changed
   */
  constructor(choose, changed) {
    this.#choose = choose;
    this.#changed = changed;
  }

  async look() {
    if (this.#looking) return;
    this.#looking = true;
    this.#changed();
    /** @type {Answer<{ cameras: Camera[] }>} */
    const { body } = await get("setup/cameras");
    this.#looking = false;
    this.#cameras = body?.cameras ?? [];
    this.#changed();
  }

  async listen() {
    const mine = (this.#listening += 1);
    /** @type {Answer<Microphones>} */
    const { body, error } = await get("setup/microphones");
    if (mine !== this.#listening) return;
    this.#sound = body ?? { microphones: [], fault: error };
    this.#changed();
  }

  /**
   * @param {Choices} choices
   * @param {Preview} preview
   * @param {Instrument | undefined} instrument
   */
  node(choices, preview, instrument) {
    const text = words.setup.camera;
    const rate = preview.source?.rate_hz ? text.atRate(Math.round(preview.source.rate_hz)) : "";
    return step(2, text.title, this.#found(choices),
      element("div", { className: "fields" },
        select(text.size, SIZES.map((one) => [one, one.replace("x", " × ")]), choices.size_px.join("x"), (value) => {
          const [width = 1280, height = 720] = value.split("x").map(Number);
          return this.#choose({ size_px: [width, height] });
        }),
        select(text.rate, RATES.map((one) => [one, one]), String(choices.rate_hz), (value) => this.#choose({ rate_hz: Number(value) }))),
      preview.source ? element("p", { className: "hint" }, (choices.film ? text.filmGives : text.gives)(preview.source.width_px, preview.source.height_px, rate)) : null,
      element("details", {}, element("summary", {}, text.stream), element("p", { className: "hint" }, text.streamAbout),
        element("p", { className: "row" }, this.#address, button(text.use, () => this.#address.value.trim() && this.#choose({ source: this.#address.value.trim() })))),
      check(text.mirrored, choices.mirrored, (mirrored) => this.#choose({ mirrored })),
      microphoneField(this.#sound, choices.microphone, this.#choose, () => this.listen()),
      instrument ? placeOf(instrument, choices) : null);
  }

  /** @param {Choices} choices */
  #found(choices) {
    const text = words.setup.camera;
    const again = button(text.look, () => this.look());
    if (this.#looking) return element("p", { className: "hint" }, text.looking);
    if (this.#cameras === null || this.#cameras.length === 0) {
      const used = element("p", {}, text.other(choices.source));
      const none = this.#cameras === null ? null : element("p", {}, choices.film ? text.noneForFilm : text.none);
      return element("div", {}, none, none === null || choices.film ? used : null, again);
    }
    return element("div", {}, tiles(text.which, "camera", this.#cameras.map((one) => ({
      value: one.source, label: one.name ?? text.numbered(one.source),
      about: one.size_px ? `${one.size_px.join(" × ")}${one.rate_hz ? text.atRate(Math.round(one.rate_hz)) : ""}` : one.source === choices.source ? "" : text.inUse,
    })), choices.source, (source) => this.#choose({ source }), "two"),
    this.#cameras.some((one) => one.source === choices.source) ? null : element("p", { className: "hint" }, text.other(choices.source)), again);
  }
}

/**
 * @param {Instrument} instrument
 * @param {Choices} choices
 */
function placeOf(instrument, choices) {
  const text = words.setup.camera;
  const [usual] = instrument.cameras;
  if (!usual) return null;
  const side = (/** @type {Side} */ one) => (choices.handedness === "left" && !instrument.keyboard ? { left: words.hands.right, right: words.hands.left }[one] : words.hands[one]);
  return element("div", {}, element("h3", {}, text.where), element("div", { className: "place" }, placeDrawing(instrument, usual, choices.handedness),
    element("ul", { className: "place-list" }, ...instrument.cameras.map((one) => element("li", {}, text.place(told(one.place), decimal(one.distance_m)), " ",
      element("span", { className: "hint" }, text.goodFor(one.sees.length === SIDES.length ? text.both : one.sees.map(side).join(", "))))))));
}
