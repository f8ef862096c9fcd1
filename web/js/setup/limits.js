// The fifth step: the limits side by side, with where they come from.

import { element } from "../dom.js";
import { words } from "../language.js";
import { directionName, limitText } from "../terms.js";
import { select, step } from "./parts.js";

/** @import { Act, Choose, OwnLimit, SetUp } from "./api.d.ts" */

const SHARES = [0.5, 0.6, 0.7, 0.8, 0.9, 1];

/**
 * @param {SetUp} now
 * @param {Choose} choose
 * @param {Act} act
 */
export function limitsStep({ limits, choices }, choose, act) {
  const text = words.setup.limits;
  return step(5, text.title, element("p", { className: "hint" }, text.about),
    element("div", { className: "table-frame" }, element("table", { className: "own-limits" },
      element("thead", {}, element("tr", {}, ...text.columns.map((one) => element("th", { scope: "col" }, one)))),
      element("tbody", {}, ...limits.map((one) => row(one, act))))),
    select(text.share, SHARES.map((one) => [String(one), `${Math.round(100 * one)}\u00a0%`]), String(choices.range_share), (value) => choose({ range_share: Number(value) })));
}

/**
 * @param {OwnLimit} one
 * @param {Act} act
 */
function row(one, act) {
  const text = words.setup.limits;
  const name = text.row(directionName(one.direction), words.levels[one.level]);
  const deg = (/** @type {number | null} */ value) => (value === null ? text.none : limitText(value, "deg"));
  const { quantity, direction, level } = one;
  const field = element("input", { inputMode: "decimal", size: 4, value: String(one.by_hand ?? ""), autocomplete: "off", attr: { "aria-label": text.setOf(name), name: `${direction} ${level}` },
    onchange: async () => {
      const asked = field.value.trim().replace(",", ".");
      if (!await act("PATCH", "setup/limits", { quantity, direction, level, value: asked === "" ? null : Number(asked) })) field.value = String(one.by_hand ?? "");
    } });
  return element("tr", {}, element("th", { scope: "row" }, name), element("td", { title: one.source ?? "" }, deg(one.published)),
    element("td", {}, one.own === null ? text.none : text.ofRange(deg(one.own), deg(one.range_deg))), element("td", {}, field), element("td", {}, element("b", {}, deg(one.used))));
}
