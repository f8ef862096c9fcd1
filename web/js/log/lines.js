// Lines of exposure: a limit of one direction of one quantity of one hand.

import { words } from "../language.js";
import { sidedLeaning } from "../terms.js";

/** @import { Exposure, Level, Side } from "../api.d.ts" */
/** @typedef {{ side: Side, quantity: string, direction: string, level: Level }} Line */

/** A share past the comfort limit weighs so much against one past the extreme limit. */
const COMFORT_WEIGHT = 0.2;
const LEAST = 0.001;

/**
 * The lines that any of these exposures is farthest beyond, worst first.
 * @param {readonly (readonly Exposure[])[]} groups
 * @returns {Line[]}
 */
export function worstLines(groups) {
  /** @type {Map<string, { line: Line, most: number }>} */
  const worst = new Map();
  for (const { side, quantity, directions } of groups.flat()) {
    for (const { direction, levels } of directions) {
      for (const { level, share } of levels) {
        const key = JSON.stringify([side, quantity, direction, level]);
        const most = (share ?? 0) * (level === "extreme" ? 1 : COMFORT_WEIGHT);
        worst.set(key, { line: { side, quantity, direction, level }, most: Math.max(worst.get(key)?.most ?? 0, most) });
      }
    }
  }
  return [...worst.values()].filter(({ most }) => most > LEAST).sort((a, b) => b.most - a.most).map(({ line }) => line);
}

/**
 * @param {readonly Exposure[]} exposures
 * @param {Line} line
 */
export function levelOf(exposures, { side, quantity, direction, level }) {
  const one = exposures.find((entry) => entry.side === side && entry.quantity === quantity);
  return one?.directions.find((entry) => entry.direction === direction)?.levels.find((entry) => entry.level === level) ?? null;
}

/** @param {Line} line */
export const lineColumn = (line) => words.trends.line(sidedLeaning(line), line.level);
