// The angle over a clip's time: limits, moments, and a needle in step with the picture. A click seeks.

import { element, svg } from "../dom.js";
import { words } from "../language.js";
import { lineName, sign } from "../terms.js";

/** @import { Side, SignedLimit, Unit } from "../api.d.ts" */
/** @typedef {{ side: Side, quantity: string, unit: Unit, time: number[], value: (number | null)[] }} ClipSeries times in s of the clip */

const WIDTH = 800;
const HEIGHT = 200;
const LEAST_SPAN = 30;
/** @type {Record<string, number>} */
const STEPS = { ArrowLeft: -1, ArrowRight: 1, PageUp: 10, PageDown: -10 };

export class Trace {
  #duration = 1;
  #low = 0;
  #high = 1;
  #needle = svg("line", { class: "trace-needle", y1: 0, y2: HEIGHT });
  #dot = svg("circle", { class: "trace-dot", r: 6, visibility: "hidden" });
  #labels = element("div", { className: "trace-labels", attr: { "aria-hidden": "true" } });
  #drawing = svg("svg", { class: "trace", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", role: "slider", tabindex: 0,
    "aria-label": words.player.traceLabel(null), "aria-valuemin": 0 });

  /**
   * onSeek(seconds of the clip), onStep(frames): what the player is asked for.
   * @param {{ onSeek: (time: number) => void, onStep: (count: number) => void }} asked
   */
  constructor({ onSeek, onStep }) {
    this.node = element("div", { className: "trace-frame" }, this.#drawing, this.#labels);
    const seek = (/** @type {PointerEvent} */ event) => {
      const box = this.#drawing.getBoundingClientRect();
      onSeek(Math.max(0, Math.min(this.#duration, ((event.clientX - box.left) / box.width) * this.#duration)));
    };
    this.#drawing.addEventListener("pointerdown", (event) => {
      this.#drawing.setPointerCapture(event.pointerId);
      seek(event);
    });
    this.#drawing.addEventListener("pointermove", (event) => {
      if (this.#drawing.hasPointerCapture(event.pointerId)) seek(event);
    });
    this.#drawing.addEventListener("keydown", (event) => {
      const step = STEPS[event.key];
      if (step === undefined) return;
      event.preventDefault();
      event.stopPropagation();
      onStep(step);
    });
  }

  /** @param {number} time */
  #x(time) {
    return (time / this.#duration) * WIDTH;
  }

  /** @param {number} value */
  #y(value) {
    return 6 + ((this.#high - value) / (this.#high - this.#low)) * (HEIGHT - 12);
  }

  /**
   * @param {ClipSeries | null} series
   * @param {readonly SignedLimit[]} limits
   * @param {number} duration
   * @param {readonly { start: number, end: number }[]} moments
   */
  show(series, limits, duration, moments) {
    this.#duration = duration;
    const values = series ? series.value.filter((one) => one !== null) : [];
    // Limits that the angle never comes halfway to would only flatten the line.
    const near = limits.map((one) => one.value).filter((value) => values.length === 0 || values.some((one) => one / value > 0.5));
    const all = [0, ...values, ...near];
    const middle = (Math.max(...all) + Math.min(...all)) / 2;
    const half = Math.max(LEAST_SPAN, Math.max(...all) - Math.min(...all)) / 2 + 5;
    [this.#low, this.#high] = [middle - half, middle + half];
    const inside = limits.filter((one) => one.value > this.#low && one.value < this.#high);
    this.#drawing.replaceChildren(
      ...moments.map((one) => svg("rect", { class: "trace-moment", x: this.#x(Math.max(0, one.start)), y: 0, height: HEIGHT,
        width: Math.max(4, this.#x(Math.min(duration, one.end)) - this.#x(Math.max(0, one.start))) })),
      svg("line", { class: "trace-zero", x1: 0, x2: WIDTH, y1: this.#y(0), y2: this.#y(0) }),
      ...inside.map((one) => svg("line", { class: `trace-limit ${one.level}`, x1: 0, x2: WIDTH, y1: this.#y(one.value), y2: this.#y(one.value) })),
      svg("path", { class: "trace-line", d: series ? this.#path(series) : "" }), this.#needle, this.#dot);
    const marks = [{ value: 0, text: "0" }, ...inside.map((one) => ({ value: one.value, text: String(Math.round(Math.abs(one.value))) }))];
    this.#labels.replaceChildren(...marks.map((one) => {
      const label = element("span", {}, `${one.text}${series ? sign(series.unit) : ""}`);
      label.style.top = `${(100 * this.#y(one.value)) / HEIGHT}%`;
      return label;
    }));
    this.#drawing.setAttribute("aria-valuemax", duration.toFixed(1));
    this.#drawing.setAttribute("aria-label", words.player.traceLabel(series ? lineName(series) : null));
  }

  /** @param {ClipSeries} series */
  #path({ time, value }) {
    let open = false;
    return value.map((one, i) => {
      if (one === null) {
        open = false;
        return "";
      }
      const point = `${open ? "L" : "M"}${this.#x(time[i] ?? 0).toFixed(1)} ${this.#y(one).toFixed(1)}`;
      open = true;
      return point;
    }).join("");
  }

  /**
   * @param {number} time of the picture
   * @param {number | null} value of that picture
   */
  move(time, value) {
    const x = String(this.#x(Math.max(0, Math.min(this.#duration, time))));
    this.#needle.setAttribute("x1", x);
    this.#needle.setAttribute("x2", x);
    this.#dot.setAttribute("visibility", value === null ? "hidden" : "visible");
    if (value !== null) {
      this.#dot.setAttribute("cx", x);
      this.#dot.setAttribute("cy", String(this.#y(value)));
    }
    this.#drawing.setAttribute("aria-valuenow", time.toFixed(2));
  }
}
