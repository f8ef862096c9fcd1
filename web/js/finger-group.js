// The fingers of one hand over a session, in a few lines after the wrist: lift, its plane, and cues.

import { leaning, quantityOf, sign } from "./book/quantities.js";
import { element } from "./dom.js";
import { NO_FORCE, fingersOnly, planeWords } from "./fingers.js";
import { duration, percent, sentenceCase } from "./words.js";

/** Less than this beyond a limit, or a cue certain for less of the time, is not worth a line. */
const SHORTEST_S = 0.5;
const LEAST_SHARE = 0.01;
/** So many reasons tell why the rest was not measured. */
const MOST_REASONS = 3;

/** What the weights never give is not kept at all. */
const NOT_GIVEN = "not seen well enough from any view to be given";
const LIFTED = ["index", "middle", "ring", "little"];

export const FINGER_CAUTIONS = [
  NO_FORCE,
  "The limits for fingers are common practice put into numbers; nobody has validated them. Styles differ.",
];

export const fingersMeasured = (summary) => fingersOnly(summary.quantities).some((one) => one.measured_s > 0);

/** summary: a session's, see posturewatch/review/summaries.py. Always says something: what was measured, or why nothing. */
export function fingerGroup(summary, side, title = "Fingers") {
  const entries = fingersOnly(summary.quantities).filter((one) => one.side === side);
  const node = element("div", { className: "quantity fingers-group", attr: { "data-side": side } }, element("h3", {}, title));
  const seen = entries.filter((one) => one.measured_s > 0);
  if (seen.length === 0) {
    node.append(element("p", {}, entries.length === 0
      ? "Not measured: the weights in use did not give fingers, or the session is older than their measurement."
      : `Not measured: ${reasons(entries)}.`));
    return node;
  }
  const lifts = entries.filter((one) => quantityOf(one.quantity).positive === "lift");
  node.append(
    lifts.some((one) => one.measured_s > 0) ? liftTable(lifts, side) : element("p", {}, `Lift was not measured: ${reasons(lifts) || NOT_GIVEN}.`),
    ...[planes(summary, side), missing(seen)].filter(Boolean).map((text) => element("p", { className: "small" }, text)),
    ...list("Also beyond a limit", seen.filter((one) => !lifts.includes(one)).flatMap(beyond)),
    ...cueList((summary.cues ?? []).filter((one) => one.side === side)));
  return node;
}

function liftTable(lifts, side) {
  const limits = ["comfort", "extreme"].map((level) => {
    const found = [...new Set(lifts.map((one) => limitOf(one, "lift", level)))];
    return { level, found };
  }).filter(({ found }) => found.some((limit) => limit !== null));
  const head = limits.map(({ level, found }) => (found.length === 1 ? `Beyond ${show(found[0])} mm` : `Beyond ${level} limit`));
  return element("table", { className: "lifts" },
    element("caption", { className: "spoken" }, `${sentenceCase(side)} hand: share of the measured time in which each finger was lifted beyond a limit`),
    element("thead", {}, element("tr", {}, ...["Lift", "Measured", ...head].map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...LIFTED.map((finger) => [finger, lifts.find((one) => quantityOf(one.quantity).finger === finger)]).map(([finger, one]) => element("tr", {},
      element("th", { scope: "row" }, sentenceCase(finger)),
      ...(one?.measured_s > 0
        ? [percent(one.measured_share), ...limits.map(({ level }) => [percent(shareBeyond(one, "lift", level)), certain(one, "lift", level)].filter(Boolean).join(", "))].map((text) => element("td", {}, text))
        : [element("td", { colSpan: 1 + limits.length }, `not measured: ${(one && reasons([one])) || NOT_GIVEN}`)])))));
}

const show = (limit) => String(Math.round(limit * 10) / 10);

/** What lies beyond a limit, null where there is no such limit. */
const levelOf = (one, direction, level) =>
  one.directions.find((entry) => entry.direction === direction)?.levels.find((entry) => entry.level === level) ?? null;

const limitOf = (one, direction, level) => levelOf(one, direction, level)?.[`limit_${one.unit}`] ?? null;

/** Of the extreme limit, the share of the time that is certainly beyond it; else "". */
function certain(one, direction, level) {
  const beyond = levelOf(one, direction, level);
  if (level !== "extreme" || !beyond || beyond.seconds < SHORTEST_S) return "";
  return `${percent(beyond.certain_s / one.measured_s)} certain`;
}

const shareBeyond = (one, direction, level) => levelOf(one, direction, level)?.share ?? null;

/** A line for each direction in which this went beyond a limit. */
function beyond(one) {
  const { positive, negative } = quantityOf(one.quantity);
  return [positive, negative].filter(Boolean).flatMap((direction) => {
    const levels = ["comfort", "extreme"].filter((level) => limitOf(one, direction, level) !== null);
    if (!levels.some((level) => levelOf(one, direction, level).seconds >= SHORTEST_S)) return [];
    const parts = levels.map((level) => {
      const sure = certain(one, direction, level);
      return `${percent(shareBeyond(one, direction, level))} beyond ${show(limitOf(one, direction, level))}${sign(one.unit)}${sure ? ` (${sure})` : ""}`;
    });
    return [`${sentenceCase(leaning(one.quantity, direction))}: ${parts.join(", ")} (measured ${percent(one.measured_share)} of the time).`];
  });
}

function planes(summary, side) {
  const found = Object.entries(summary.lift_planes?.[side] ?? {});
  if (found.length === 0) return "";
  return `Lift was measured ${found.map(([plane, seconds]) => `${planeWords(plane)} for ${duration(seconds)}`).join(", and ")}.`;
}

/** The reasons for which these were not measured, those of most time first. */
function reasons(entries) {
  const seconds = new Map();
  for (const one of entries) {
    for (const [reason, spent] of Object.entries(one.unseen_s)) seconds.set(reason, (seconds.get(reason) ?? 0) + spent);
  }
  return [...seconds].filter(([, spent]) => spent >= SHORTEST_S).sort((a, b) => b[1] - a[1]).slice(0, MOST_REASONS).map(([reason]) => reason).join("; ");
}

function missing(seen) {
  const why = reasons(seen);
  return why ? `When a finger was not measured, this was why: ${why}.` : "";
}

function list(title, lines) {
  return lines.length === 0 ? [] : [element("p", {}, `${title}:`), element("ul", {}, ...lines.map((text) => element("li", {}, text)))];
}

function cueList(cues) {
  if (cues.length === 0) return [element("p", {}, "Cues could not be seen in what was measured.")];
  const sure = cues.filter((one) => one.certain_share !== null && one.certain_share >= LEAST_SHARE).sort((a, b) => b.certain_share - a.certain_share);
  if (sure.length === 0) return [element("p", {}, "Of the cues that could be seen, none was certain for more than a moment.")];
  return list("Cues, by the time in which they were certain", sure.map((one) => `${sentenceCase(one.label)}: ${percent(one.certain_share)} of the ${one.share_of}.`));
}
