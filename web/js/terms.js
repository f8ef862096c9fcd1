// Quantities, limits, fingers and refusals as the vocabulary has them, in the language of the page.

import { decimal } from "./format.js";
import { words } from "./language.js";
import { vocabulary } from "./vocabulary.js";

/** @import { Exposure, Group, Moment, Quantity, Side, SignedLimit, State, Unit } from "./api.d.ts" */

/** @type {readonly Side[]} */
export const SIDES = ["left", "right"];
/** @type {readonly ["comfort", "extreme"]} */
export const LEVELS = ["comfort", "extreme"];

const { terms } = words;
const QUANTITIES = new Map(vocabulary.quantities.map((one) => [one.name, one]));
const REFUSALS = new Map(vocabulary.refusals.map((one) => [one.name, one]));
const STATES = new Map(vocabulary.states.map((one) => [one.name, one.key]));
const CUES = new Map(vocabulary.cues.map((one) => [one.name, one]));
const PLANES = new Map(vocabulary.lift_planes.map((one) => [one.name, one.words]));
const DIGITS = new Map(vocabulary.fingers.map((one) => [one.name, one.number]));

/** Digits in the order of the hand. */
export const FINGERS = vocabulary.fingers.map((one) => one.name);
export const fingerNumber = (/** @type {string} */ name) => DIGITS.get(name) ?? "";
export const fingerName = (/** @type {string} */ name) => terms.fingers[name] ?? name;
/** Said wherever postures of the fingers are told. */
export const NO_FORCE = terms.noForce ?? vocabulary.no_force;
/** Sides whose fingers press strings to a fingerboard. */
export const FINGERBOARD_SIDES = vocabulary.hands.filter((one) => one.fretting).map((one) => one.side);

/**
 * What players call the hand of a side: "fretting hand", or its side where that is its name.
 * @param {Side} side
 */
export function handName(side) {
  const hand = vocabulary.hands.find((one) => one.side === side);
  return hand ? terms.roles[hand.role] ?? hand.role_label : words.hands[side];
}

/**
 * The quantity of that name. One that an older session has and this program lacks keeps its name and has no limits.
 * @param {string} name
 * @returns {Quantity}
 */
export function quantityOf(name) {
  return QUANTITIES.get(name) ?? { name, label: name.replaceAll("_", " "), unit: "deg", group: "wrist", finger: null, advice: "",
    positive: "+", negative: null, directions: {} };
}

export const WRIST = vocabulary.quantities.filter((one) => one.group === "wrist");
export const OF_FINGERS = vocabulary.quantities.filter((one) => one.group === "finger");

/**
 * Entries that are not about fingers: those have a place of their own.
 * @template {{ group: Group }} T
 * @param {readonly T[]} entries
 */
export const wristOnly = (entries) => entries.filter((entry) => entry.group !== "finger");

/**
 * @template {{ group: Group }} T
 * @param {readonly T[]} entries
 */
export const fingersOnly = (entries) => entries.filter((entry) => entry.group === "finger");

export const labelOf = (/** @type {string} */ name) => terms.quantities[name]?.label ?? quantityOf(name).label;

export const adviceOf = (/** @type {string} */ name) => terms.quantities[name]?.advice ?? quantityOf(name).advice;

/** The direction's own short name: "flexion". */
export const directionName = (/** @type {string} */ direction) => terms.directions[direction] ?? direction;

/**
 * What the hand does in a direction of a quantity: "wrist bent in (flexion)", "index finger lifted".
 * @param {string} quantity
 * @param {string} direction
 */
export function leaning(quantity, direction) {
  return terms.quantities[quantity]?.words[direction] ?? quantityOf(quantity).directions[direction]?.words
    ?? `${labelOf(quantity)} ${directionName(direction)}`;
}

/**
 * "Left wrist bent in (flexion)".
 * @param {{ side: Side, quantity: string, direction: string }} one
 */
export const sidedLeaning = ({ side, quantity, direction }) => words.sided(side, leaning(quantity, direction));

/**
 * "Left hand, wrist flexion".
 * @param {{ side: Side, quantity: string }} one
 */
export const lineName = ({ side, quantity }) => `${words.hands[side]}, ${labelOf(quantity)}`;

export const sign = (/** @type {Unit} */ unit) => vocabulary.units[unit];

/**
 * The direction a signed value leans to.
 * @param {Quantity} quantity
 * @param {number} value
 */
export const directionOf = (quantity, value) => (value < 0 && quantity.negative ? quantity.negative : quantity.positive);

/**
 * A signed value in words: "34° flexion".
 * @param {string} name
 * @param {number} value
 */
export function sized(name, value) {
  const quantity = quantityOf(name);
  return `${Math.round(Math.abs(value))}${sign(quantity.unit)}\u00a0${directionName(directionOf(quantity, value))}`;
}

/**
 * A limit without needless digits: "48.6°".
 * @param {number} limit
 * @param {Unit} unit
 */
export const limitText = (limit, unit) => `${decimal(Math.round(limit * 10) / 10)}${sign(unit)}`;

/**
 * The key of a hand's state in messages and files; an unknown word throws.
 * @param {string} name
 * @returns {State}
 */
export function stateKey(name) {
  const key = STATES.get(name);
  if (key === undefined) throw new Error(`unknown state ${name}`);
  return key;
}

/**
 * Seconds by the keys of states.
 * @param {Record<string, number>} seconds
 */
export const byState = (seconds) => new Map(Object.entries(seconds).map(([name, spent]) => [stateKey(name), spent]));

/** Why something is not measurable, as messages and files have it, in the language of the page. */
export const refusalName = (/** @type {string} */ name) => terms.refusals[REFUSALS.get(name)?.key ?? ""]?.name ?? name;

export const refusalHelp = (/** @type {string} */ name) => terms.refusals[REFUSALS.get(name)?.key ?? ""]?.help ?? REFUSALS.get(name)?.help ?? "";

/** What lifts were measured from. */
export const planeWords = (/** @type {string} */ plane) => terms.planes[plane] ?? PLANES.get(plane) ?? plane;

/** @param {{ cue: string, label: string }} one */
export const cueLabel = (one) => terms.cues[one.cue]?.label ?? one.label;
export const cueWords = (/** @type {string} */ name) => terms.cues[name]?.words ?? CUES.get(name)?.words ?? name;

/**
 * Signed limits of an exposure.
 * @param {Pick<Exposure, "quantity" | "unit" | "directions">} exposure
 * @returns {SignedLimit[]}
 */
export function limitsOf(exposure) {
  const { negative } = quantityOf(exposure.quantity);
  return exposure.directions.flatMap((one) => one.levels.map((level) => ({
    level: level.level, direction: one.direction,
    value: (one.direction === negative ? -1 : 1) * ((exposure.unit === "mm" ? level.limit_mm : level.limit_deg) ?? NaN),
  })));
}

/**
 * Half of the 90 % interval around a value; without a deviation, none is known.
 * @param {number | null} sd
 */
export const halfInterval = (sd) => (sd === null ? Infinity : vocabulary.interval_sd * sd);

/**
 * The limits of a direction as they hold for a hand, or for both.
 * @param {Quantity["directions"][string]} direction
 * @param {Side} [side]
 */
export const limitsFor = (direction, side) => (side && direction.sided?.[side]) ?? direction;

/**
 * Signed limits of a quantity of a hand, as they are in force; without a side, of both.
 * @param {Quantity} quantity
 * @param {Side} [side]
 * @returns {SignedLimit[]}
 */
export const signedLimits = (quantity, side) => Object.entries(quantity.directions).flatMap(([direction, one]) => LEVELS.flatMap((level) => {
  const limit = limitsFor(one, side)[level];
  return limit === null ? [] : [{ level, direction, value: one.sign * limit }];
}));

/**
 * The state of one measured angle among signed limits, by the rule of posturewatch/comfort/hand_state.py: comfort only
 * where its whole 90 % interval lies inside them. "unseen" for no value.
 * @param {number | null | undefined} value
 * @param {number | null} sd its standard deviation; without one, no interval is known
 * @param {readonly SignedLimit[]} limits
 * @returns {"within" | "unsure" | "beyond" | "extreme" | "unseen"}
 */
export function stateOf(value, sd, limits) {
  if (value === null || value === undefined) return "unseen";
  const past = (/** @type {"comfort" | "extreme"} */ level, /** @type {number} */ reach) => limits.some((one) => one.level === level
    && (one.value < 0 ? value - reach < one.value : value + reach > one.value));
  const half = halfInterval(sd);
  if (past("extreme", 0)) return "extreme";
  if (past("extreme", half)) return "unsure";
  if (past("comfort", 0)) return "beyond";
  return limits.length === 0 || past("comfort", half) ? "unsure" : "within";
}

/**
 * What a clip or a moment shows, in a few words.
 * @param {Moment} moment
 */
export function momentWords(moment) {
  if (moment.kind === "mark") return words.clips.yourMark;
  return (moment.kind === "warning" ? words.clips.held : words.clips.extreme)(sidedLeaning(moment));
}

