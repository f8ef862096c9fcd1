// The words of the page. Zones arrive as the words kept in files; here they get a short one to read from afar.

export const STATES = {
  idle: { word: "–", meaning: "not watching" },
  within: { word: "Within", meaning: "within comfort" },
  beyond: { word: "Beyond", meaning: "beyond comfort" },
  extreme: { word: "Extreme", meaning: "extreme" },
  held: { word: "Ease off", meaning: "extreme angle held" },
  unseen: { word: "No reading", meaning: "not measurable" },
};

const STATE_OF_ZONE = {
  "within comfort": "within",
  "beyond comfort": "beyond",
  "extreme": "extreme",
  "not measurable": "unseen",
};

const RANK = ["unseen", "within", "beyond", "extreme", "held"];

/** The state of a zone's word; an unknown word throws. */
export function stateOfZone(zone) {
  const state = STATE_OF_ZONE[zone];
  if (state === undefined) throw new Error(`unknown zone ${zone}`);
  return state;
}

/** The state that matters most among several: the farthest from comfort; unseen only where nothing is seen. */
export function worst(states) {
  return states.reduce((a, b) => (RANK.indexOf(b) > RANK.indexOf(a) ? b : a), "unseen");
}

/** Entries that are not about fingers: those have a place of their own, or none yet. */
export const wristOnly = (entries) => entries.filter((entry) => entry.group !== "finger");

export const SIDE_LABEL = { left: "Left hand", right: "Right hand" };

export const UNIT_SIGN = { deg: "°", mm: " mm" };

/** "3:07" or "1:02:09". */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const parts = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const shown = parts[0] > 0 ? parts : parts.slice(1);
  return shown.map((part, i) => (i === 0 ? String(part) : String(part).padStart(2, "0"))).join(":");
}

/** "8 s", "2 min 5 s", "1 h 4 min": for durations in sentences and tables. */
export function duration(seconds) {
  if (seconds < 9.95) return `${Math.round(seconds * 10) / 10} s`;
  const whole = Math.round(seconds);
  if (whole < 60) return `${whole} s`;
  if (whole < 3600) return whole % 60 ? `${Math.floor(whole / 60)} min ${whole % 60} s` : `${whole / 60} min`;
  return `${Math.floor(whole / 3600)} h ${Math.round((whole % 3600) / 60)} min`;
}

/** A signed value as its size and the direction it has: "34°" and "flexion". */
export function sizeAndDirection(quantity, value) {
  const direction = value < 0 && quantity.negative ? quantity.negative : quantity.positive;
  return { size: `${Math.round(Math.abs(value))}${UNIT_SIGN[quantity.unit] ?? ""}`, direction };
}

export function sentenceCase(text) {
  return text ? text[0].toUpperCase() + text.slice(1) : text;
}

export function percent(share) {
  if (share === null) return "–";
  const whole = Math.round(share * 100);
  if (whole === 0 && share > 0) return "under 1\u00a0%";
  return whole === 100 && share < 1 ? "over 99\u00a0%" : `${whole}\u00a0%`;
}
