// Words and limits of the measured quantities, as sessions carry them.

import { SIDE_LABEL, UNIT_SIGN, sentenceCase } from "../words.js";

const KNOWN = {
  wrist_flexion: { label: "wrist flexion", positive: "flexion", negative: "extension" },
  wrist_ulnar_deviation: { label: "wrist deviation", positive: "ulnar", negative: "radial" },
};
const DIRECTION_WORDS = {
  flexion: "bent in (flexion)", extension: "bent back (extension)",
  ulnar: "towards the little finger (ulnar)", radial: "towards the thumb (radial)",
};

/** label, positive and negative of a quantity; one that is not known here gets its own name as label. */
export function quantityOf(name) {
  return KNOWN[name] ?? { label: name.replaceAll("_", " "), positive: "+", negative: null };
}

export const directionWords = (direction) => DIRECTION_WORDS[direction] ?? direction;

export const lineName = ({ side, quantity, direction }) =>
  direction === undefined ? `${SIDE_LABEL[side]}, ${quantityOf(quantity).label}`
    : `${SIDE_LABEL[side]}, ${quantityOf(quantity).label.split(" ")[0]} ${directionWords(direction)}`;

export const sign = (unit) => UNIT_SIGN[unit] ?? ` ${unit}`;

/** A signed value in words: "34° flexion". */
export function sized(quantity, unit, value) {
  const { positive, negative } = quantityOf(quantity);
  return `${Math.round(Math.abs(value))}${sign(unit)} ${value < 0 && negative ? negative : positive}`;
}

/** Signed limits of an exposure: [{level, direction, value}]. */
export function limitsOf(exposure) {
  const { negative } = quantityOf(exposure.quantity);
  return exposure.directions.flatMap((one) => one.levels.map((level) => ({
    level: level.level, direction: one.direction,
    value: (one.direction === negative ? -1 : 1) * level[`limit_${exposure.unit}`],
  })));
}

/** "within", "beyond" or "extreme" for a value among signed limits; "unseen" for none. */
export function zoneOf(value, limits) {
  if (value === null || value === undefined) return "unseen";
  const past = (level) => limits.some((one) => one.level === level
    && (one.value < 0 ? value < one.value : value > one.value));
  if (past("extreme")) return "extreme";
  return past("comfort") ? "beyond" : "within";
}

export const ZONE_WORDS = {
  within: "within comfort", beyond: "beyond comfort", extreme: "extreme", unseen: "not measured",
};

/** What a clip or a moment shows, in a few words. */
export function momentWords(moment) {
  if (moment.kind === "mark") return "your mark";
  const where = `${moment.side} ${quantityOf(moment.quantity).label.split(" ")[0]} ${directionWords(moment.direction)}`;
  return sentenceCase(moment.kind === "warning" ? `held: ${where}` : `extreme: ${where}`);
}
