// One quantity of one hand: its number with direction, and where it stands between its limits.

import { element, setText, svg } from "./dom.js";
import { sizeAndDirection } from "./words.js";

const WIDTH = 200;
const HEIGHT = 18;
const MARGIN = 1.35;

export class Scale {
  constructor(quantity) {
    this.quantity = quantity;
    this.range = MARGIN * Math.max(20, ...this.#limits("extreme"), ...this.#limits("comfort"));
    this.direction = element("span");
    this.size = element("b");
    this.spread = element("span");
    this.needle = svg("rect", { class: "bar-needle", x: 0, y: 0, width: 8, height: HEIGHT, rx: 2 });
    this.node = element("div", { className: "scale", title: quantity.label },
      element("p", { className: "scale-text" }, this.direction, " ", this.size, " ", this.spread), this.#bar());
    this.show(null);
  }

  /** entry: the quantity as it came in the header, or null when there is nothing to show. */
  show(entry) {
    const value = entry?.display ?? null;
    this.needle.setAttribute("visibility", value === null ? "hidden" : "visible");
    if (value === null) {
      setText(this.direction, this.quantity.label);
      setText(this.size, "–");
      setText(this.spread, entry?.refusal ? "not measurable" : "");
      return;
    }
    const { size, direction } = sizeAndDirection(this.quantity, value);
    setText(this.direction, direction);
    setText(this.size, size);
    setText(this.spread, entry.sd === null ? "" : `±${Math.round(entry.sd)}`);
    this.needle.setAttribute("x", (this.#x(value) - 4).toFixed(1));
  }

  #limits(level) {
    return Object.values(this.quantity.directions).map((limits) => limits[level]).filter((limit) => limit !== null);
  }

  #x(value) {
    const share = Math.max(-1, Math.min(1, value / this.range));
    return WIDTH / 2 + share * (WIDTH / 2 - 5);
  }

  #bar() {
    const { positive, negative, directions } = this.quantity;
    const ends = [[negative, -1], [positive, 1]].filter(([direction]) => direction !== null);
    const edge = (direction, sign) => this.#x(sign * (directions[direction].comfort ?? directions[direction].extreme ?? this.range));
    const low = negative === null ? this.#x(0) : edge(negative, -1);
    const lines = ends.map(([direction, sign]) => directions[direction].extreme === null ? null
      : svg("line", { class: "bar-limit", x1: this.#x(sign * directions[direction].extreme), y1: 1, y2: HEIGHT - 1,
        x2: this.#x(sign * directions[direction].extreme) })).filter((line) => line !== null);
    return svg("svg", { class: "scale-bar", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, preserveAspectRatio: "none", "aria-hidden": "true" },
      svg("rect", { class: "bar-track", x: 0, y: 6, width: WIDTH, height: 6, rx: 3 }),
      svg("rect", { class: "bar-comfort", x: low, y: 6, width: edge(positive, 1) - low, height: 6 }),
      ...lines, this.needle);
  }
}
