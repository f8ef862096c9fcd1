// The exposure of a session in numbers: past each limit, its spread, and how long at which angle.

import { element } from "../dom.js";
import { decimal, duration, percent } from "../format.js";
import { words } from "../language.js";
import { longestHold, pastText } from "../overview.js";
import { limitText, lineName, sidedLeaning, sign, sized } from "../terms.js";
import { fold, table } from "./parts.js";

/** @import { Excursion, Exposure } from "../api.d.ts" */

/** Less than this in a cell is left out. */
const SHORTEST_S = 0.05;

/**
 * @param {readonly Exposure[]} exposures
 * @param {readonly Excursion[]} excursions those of the session
 */
export function detailCard(exposures, excursions) {
  const text = words.detail;
  const rows = exposures.filter((one) => one.measured_s > 0).flatMap((one) => one.directions.flatMap(({ direction, levels }) =>
    levels.filter((level) => level.seconds > 0).map((level) => [
      sidedLeaning({ side: one.side, quantity: one.quantity, direction }),
      `${words.levels[level.level]}, ${limitText((one.unit === "mm" ? level.limit_mm : level.limit_deg) ?? NaN, one.unit)}`,
      `${duration(level.seconds)} (${percent(level.share)})`,
      pastText(longestHold(excursions, { side: one.side, quantity: one.quantity, direction, level: level.level })), String(level.excursions),
      `${Math.round((one.unit === "mm" ? level.excess_mm_s : level.excess_deg_s) ?? NaN)}${sign(one.unit)}\u00a0s`,
    ])));
  const spread = exposures.flatMap((one) => {
    const p = one.unit === "mm" ? one.percentiles_mm : one.percentiles_deg;
    return p ? [[lineName(one), ...[p.p10, p.p50, p.p90].map((value) => sized(one.quantity, value)), one.rests === null ? "–" : decimal(one.rests.per_minute)]] : [];
  });
  return fold(text.title,
    rows.length === 0 ? element("p", {}, text.noLimitPassed)
      : table(text.caption, [words.trends.direction, text.limit, text.timePast, text.longestHold, text.times, text.excess], rows),
    table(text.spreadCaption, [text.quantity, text.p10, text.median, text.p90, text.rests], spread),
    element("p", { className: "small" }, text.note),
    element("details", {}, element("summary", {}, text.variation), ...exposures.filter((one) => one.measured_s > 0).map(variation)));
}

/** @param {Exposure} one */
function variation(one) {
  const text = words.detail;
  const { duration_edges_s: edges, seconds } = one.variation;
  const bounds = (one.unit === "mm" ? one.variation.amplitude_edges_mm : one.variation.amplitude_edges_deg) ?? [];
  const bound = (/** @type {number | undefined} */ value) => `${Math.round(value ?? NaN)}${sign(one.unit)}`;
  const columns = [...edges.map((edge, i) => `${edges[i - 1] ?? 0}–${edge} s`), text.over(`${edges.at(-1)} s`)];
  const rowName = (/** @type {number} */ i) => {
    if (i === 0) return text.below(bound(bounds[0]));
    return i === bounds.length ? text.above(bound(bounds.at(-1))) : text.between(bound(bounds[i - 1]), bound(bounds[i]));
  };
  return element("div", {}, element("h3", {}, lineName(one)),
    table(`${text.variation}: ${lineName(one)}`, [text.angle, ...columns],
      seconds.map((row, i) => [rowName(i), ...row.map((cell) => (cell >= SHORTEST_S ? duration(cell) : "–"))])));
}
