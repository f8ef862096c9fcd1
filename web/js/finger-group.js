// The fingers of one hand over a session, in a few lines after the wrist: lift, its plane, and cues.

import { element } from "./dom.js";
import { duration, percent, sentenceCase } from "./format.js";
import { words } from "./language.js";
import { FINGERS, LEVELS, NO_FORCE, cueLabel, fingerName, fingersOnly, leaning, limitText, planeWords, quantityOf, refusalName } from "./terms.js";

/** @import { CueShare, Exposure, Level, Side, Summary } from "./api.d.ts" */

/** Less than this past a limit, or a cue that is certain for less of the time, is not worth a line. */
const SHORTEST_S = 0.5;
export const LEAST_SHARE = 0.01;
/** So many reasons tell why the rest was not measured. */
const MOST_REASONS = 3;

export const FINGER_CAUTIONS = [NO_FORCE, words.fingers.notValidated];

/** @param {Summary} summary */
export const fingersMeasured = (summary) => fingersOnly(summary.quantities).some((one) => one.measured_s > 0);

/** @param {Exposure} one */
const isLift = (one) => quantityOf(one.quantity).positive === "lift";

/**
 * Always says something: what was measured, or why nothing.
 * @param {Summary} summary see posturewatch/review/summaries.py
 * @param {Side} side
 * @param {string} [title]
 */
export function fingerGroup(summary, side, title = words.fingers.title) {
  const text = words.fingers;
  const entries = fingersOnly(summary.quantities).filter((one) => one.side === side);
  const node = element("div", { className: "quantity fingers-group", attr: { "data-side": side } }, element("h3", {}, title));
  const seen = entries.filter((one) => one.measured_s > 0);
  if (seen.length === 0) {
    node.append(element("p", {}, entries.length === 0 ? text.neverGiven : text.notMeasuredBecause(reasons(entries))));
    return node;
  }
  const lifts = entries.filter(isLift);
  node.append(
    lifts.some((one) => one.measured_s > 0) ? liftTable(lifts, side) : element("p", {}, text.noLift(reasons(lifts) || text.notGiven)),
    ...[planes(summary, side), missing(seen)].filter(Boolean).map((line) => element("p", { className: "small" }, line)),
    ...list(text.alsoPast, seen.filter((one) => !isLift(one)).flatMap(pastLines)),
    ...cueList((summary.cues ?? []).filter((one) => one.side === side)));
  return node;
}

/**
 * @param {readonly Exposure[]} lifts
 * @param {Side} side
 */
function liftTable(lifts, side) {
  const text = words.fingers;
  const limits = LEVELS.map((level) => ({ level, found: [...new Set(lifts.map((one) => limitOf(one, "lift", level)))] }))
    .filter(({ found }) => found.some((limit) => limit !== null));
  const head = limits.map(({ level, found: [first, ...others] }) => (first !== null && first !== undefined && others.length === 0
    ? text.past(limitText(first, "mm")) : text.past(words.limits[level])));
  const lifted = FINGERS.filter((finger) => lifts.some((one) => quantityOf(one.quantity).finger === finger) || finger !== "thumb");
  return element("table", { className: "lifts" },
    element("caption", { className: "spoken" }, text.liftCaption(words.hands[side])),
    element("thead", {}, element("tr", {}, ...[text.liftHead, text.measured, ...head].map((one) => element("th", { scope: "col" }, one)))),
    element("tbody", {}, ...lifted.map((finger) => {
      const one = lifts.find((lift) => quantityOf(lift.quantity).finger === finger);
      return element("tr", {}, element("th", { scope: "row" }, sentenceCase(fingerName(finger))),
        ...(one && one.measured_s > 0
          ? [percent(one.measured_share), ...limits.map(({ level }) => [percent(sharePast(one, "lift", level)), certain(one, "lift", level)].filter(Boolean).join(", "))].map((cell) => element("td", {}, cell))
          : [element("td", { colSpan: 1 + limits.length }, text.cellNotMeasured((one && reasons([one])) || text.notGiven))]));
    })));
}

/**
 * What lies past a limit; null where there is no such limit.
 * @param {Exposure} one
 * @param {string} direction
 * @param {Level} level
 */
function levelOf(one, direction, level) {
  return one.directions.find((entry) => entry.direction === direction)?.levels.find((entry) => entry.level === level) ?? null;
}

/**
 * @param {Exposure} one
 * @param {string} direction
 * @param {Level} level
 */
function limitOf(one, direction, level) {
  const found = levelOf(one, direction, level);
  return (one.unit === "mm" ? found?.limit_mm : found?.limit_deg) ?? null;
}

/**
 * Of the extreme limit, the share of the time that is certainly past it; else "".
 * @param {Exposure} one
 * @param {string} direction
 * @param {Level} level
 */
function certain(one, direction, level) {
  const past = levelOf(one, direction, level);
  return level !== "extreme" || !past || past.seconds < SHORTEST_S ? "" : words.certain(percent(past.certain_s / one.measured_s));
}

/**
 * @param {Exposure} one
 * @param {string} direction
 * @param {Level} level
 */
const sharePast = (one, direction, level) => levelOf(one, direction, level)?.share ?? null;

/**
 * A line for each direction in which this went past a limit.
 * @param {Exposure} one
 */
function pastLines(one) {
  return Object.keys(quantityOf(one.quantity).directions).flatMap((direction) => {
    const levels = LEVELS.filter((level) => limitOf(one, direction, level) !== null);
    if (!levels.some((level) => (levelOf(one, direction, level)?.seconds ?? 0) >= SHORTEST_S)) return [];
    const parts = levels.map((level) => {
      const sure = certain(one, direction, level);
      return `${words.fingers.sharePast(percent(sharePast(one, direction, level)), limitText(limitOf(one, direction, level) ?? NaN, one.unit))}${sure ? ` (${sure})` : ""}`;
    });
    return [words.fingers.pastLine(sentenceCase(leaning(one.quantity, direction)), parts.join(", "), percent(one.measured_share))];
  });
}

/**
 * @param {Summary} summary
 * @param {Side} side
 */
function planes(summary, side) {
  const found = Object.entries(summary.lift_planes?.[side] ?? {});
  return found.length === 0 ? "" : words.fingers.planes(found.map(([plane, seconds]) => words.fingers.planeFor(planeWords(plane), duration(seconds))));
}

/**
 * The reasons for which these were not measured, those of most time first.
 * @param {readonly Exposure[]} entries
 */
function reasons(entries) {
  /** @type {Map<string, number>} */
  const seconds = new Map();
  for (const one of entries) {
    for (const [reason, spent] of Object.entries(one.unseen_s)) seconds.set(reason, (seconds.get(reason) ?? 0) + spent);
  }
  return [...seconds].filter(([, spent]) => spent >= SHORTEST_S).sort((a, b) => b[1] - a[1]).slice(0, MOST_REASONS).map(([reason]) => refusalName(reason)).join("; ");
}

/** @param {readonly Exposure[]} seen */
function missing(seen) {
  const why = reasons(seen);
  return why ? words.fingers.missing(why) : "";
}

/**
 * @param {string} title
 * @param {readonly string[]} lines
 */
function list(title, lines) {
  return lines.length === 0 ? [] : [element("p", {}, `${title}:`), element("ul", {}, ...lines.map((text) => element("li", {}, text)))];
}

/** @param {readonly CueShare[]} cues */
function cueList(cues) {
  const text = words.fingers;
  if (cues.length === 0) return [element("p", {}, text.noCues)];
  const sure = cues.flatMap((one) => (one.certain_share !== null && one.certain_share >= LEAST_SHARE ? [{ ...one, share: one.certain_share }] : []))
    .sort((a, b) => b.share - a.share);
  if (sure.length === 0) return [element("p", {}, text.noCueCertain)];
  return list(text.cues, sure.map((one) => text.cueLine(sentenceCase(cueLabel(one)), percent(one.share), one.share_of)));
}
