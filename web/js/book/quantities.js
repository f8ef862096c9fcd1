// Words and limits of the measured quantities, as sessions carry them.

import { SIDE_LABEL, UNIT_SIGN, sentenceCase } from "../words.js";

const KNOWN = {
  wrist_flexion: { label: "wrist flexion", positive: "flexion", negative: "extension" },
  wrist_ulnar_deviation: { label: "wrist deviation", positive: "ulnar", negative: "radial" },
  ...Object.assign({}, ...["index", "middle", "ring", "little"].map(longFinger)),
  little_spread: { label: "little finger spread", finger: "little", positive: "spread", negative: null,
    words: { spread: "little finger spread away from the ring finger" } },
  thumb_ip: { label: "thumb end joint", finger: "thumb", positive: "hook", negative: "collapse",
    words: { hook: "thumb bent at its end joint", collapse: "thumb's end joint bent backwards" } },
  thumb_place: { label: "thumb place", finger: "thumb", positive: "radial", negative: "ulnar",
    words: { radial: "thumb placed towards the index finger's side (radial)", ulnar: "thumb placed towards the little finger's side (ulnar)" } },
};

/** As posturewatch/quantities.py has them. */
function longFinger(finger) {
  const whose = `${finger} finger`;
  const joint = (which) => ({ label: `${whose} ${which} joint`, finger, positive: "bend", negative: "collapse",
    words: { bend: `${whose} bent at the ${which} joint`, collapse: `${whose}'s ${which} joint bent backwards` } });
  return {
    [`${finger}_lift`]: { label: `${whose} lift`, finger, positive: "lift", negative: null, words: { lift: `${whose} lifted` } },
    [`${finger}_pip`]: joint("middle"),
    [`${finger}_dip`]: joint("end"),
  };
}

const DIRECTION_WORDS = {
  flexion: "bent in (flexion)", extension: "bent back (extension)",
  ulnar: "towards the little finger (ulnar)", radial: "towards the thumb (radial)",
};

/** label, positive and negative of a quantity; one that is not known here gets its own name as label. */
export function quantityOf(name) {
  return KNOWN[name] ?? { label: name.replaceAll("_", " "), positive: "+", negative: null };
}

export const directionWords = (direction) => DIRECTION_WORDS[direction] ?? direction;

/** What the hand does in a direction of a quantity: "wrist bent in (flexion)", "index finger lifted". */
export const leaning = (quantity, direction) => quantityOf(quantity).words?.[direction]
  ?? `${quantityOf(quantity).label.split(" ")[0]} ${directionWords(direction)}`;

export const lineName = ({ side, quantity, direction }) =>
  `${SIDE_LABEL[side]}, ${direction === undefined ? quantityOf(quantity).label : leaning(quantity, direction)}`;

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
  const where = `${moment.side} ${leaning(moment.quantity, moment.direction)}`;
  return sentenceCase(moment.kind === "warning" ? `held: ${where}` : `extreme: ${where}`);
}
