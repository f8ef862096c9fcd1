// Shares of the measured time by state: one bar a line, with its name and what its parts are.

import { element, svg } from "../dom.js";
import { percent } from "../format.js";
import { words } from "../language.js";
import { patterned } from "../timeline.js";

/** @typedef {{ name: string, shares: Map<string, number> }} StateRow shares in 0 to 1 */

const STATES = /** @type {const} */ (["within", "unsure", "beyond", "extreme"]);
const HEIGHT = 26;

/** @param {readonly StateRow[]} rows */
export function stateBars(rows) {
  return element("div", { className: "state-bars" },
    ...rows.filter(({ shares }) => Math.max(0, ...shares.values()) > 0).map(({ name, shares }) => {
      const told = STATES.filter((state) => (shares.get(state) ?? 0) > 0).map((state) => `${words.states[state]} ${percent(shares.get(state) ?? 0)}`).join(", ");
      const bar = svg("svg", { class: "state-bar", width: "100%", height: HEIGHT, role: "img", "aria-label": `${name}: ${told || "–"}` });
      let left = 0;
      patterned(bar, STATES.flatMap((state) => {
        const share = shares.get(state) ?? 0;
        const part = svg("rect", { class: `time-${state}`, x: `${(100 * left).toFixed(2)}%`, y: 1, width: `${(100 * share).toFixed(2)}%`, height: HEIGHT - 2 });
        left += share;
        return share > 0 ? [part] : [];
      }));
      return element("div", { className: "timeline-row" }, element("span", { className: "timeline-name" }, name), bar);
    }));
}
