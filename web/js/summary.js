// What is read after the stop: what happened, when, for how long; and what was not measured, and why.

import { element, svg } from "./dom.js";
import { FINGER_CAUTIONS, fingerGroup, fingersMeasured } from "./finger-group.js";
import { clock, duration, percent, sentenceCase, sourceName } from "./format.js";
import { words } from "./language.js";
import { ratingStrip } from "./offer.js";
import { holds, judgedShare, longestHold, overview, pastText } from "./overview.js";
import { FINGERBOARD_SIDES, SIDES, byState, directionName, labelOf, limitText, quantityOf, refusalName, sidedLeaning, sized, wristOnly } from "./terms.js";
import { translated } from "./translated.js";
import { vocabulary } from "./vocabulary.js";

/** @import { Kept } from "./overview.js" */
/** @import { DirectionExposure, Excursion, Exposure, HandTime, Quantity, Side, Summary, WarnedThen } from "./api.d.ts" */

/** Of a measured angle, from comfort outwards. @type {readonly ["within", "unsure", "beyond", "extreme"]} */
const STATES = ["within", "unsure", "beyond", "extreme"];
/** @typedef {typeof STATES[number]} Known */
const SHORTEST_REASON_S = 0.05;
const SHORTEST_AWAY_S = 1;

/**
 * Fills node with a session's summary (posturewatch/review/summaries.py): what is read in twenty seconds, then the
 * details. kept: the session's clips, passages and finding. onStart begins the next session; fail
 * shows what went wrong.
 * @param {HTMLElement} node
 * @param {Summary} summary
 * @param {{ fault: string | null, onStart: () => void, sessionId: string, kept: Kept, fail: (sentence: string) => void }} options
 */
export function showSummary(node, summary, { fault, onStart, sessionId, kept, fail }) {
  const text = words.summary;
  const start = element("button", { type: "button", className: "button start", id: "start-again", onclick: onStart },
    element("span", { className: "button-label" }, words.live.startAgain), element("kbd", {}, words.keys.pageUp));
  const felt = element("section", { className: "card", id: "felt", hidden: true });
  ratingStrip({ moment: "after", sessionId, fail }).then((strip) => {
    if (strip) felt.append(strip);
    felt.hidden = strip === null;
  });
  node.replaceChildren(
    element("header", { className: "summary-head" },
      element("div", {}, element("h1", { tabIndex: -1 }, text.title), element("p", { className: "headline" }, headline(summary)),
        element("p", {}, opening(summary)),
        element("p", {}, element("a", { href: `/log.html#/session/${encodeURIComponent(sessionId)}`, className: "bar-button" }, text.more)),
        fault ? element("p", { className: "fault", attr: { role: "alert" } }, fault) : null,
        ...(summary.damage ?? []).map((sentence) => element("p", { className: "fault" }, translated(sentence)))),
      start),
    ...overview(summary, kept).map((one) => one ?? ""), felt,
    element("p", { className: "small" }, `${text.cautions[0] ?? ""} ${text.ifItHurts}`),
    folded(`${text.warnings(summary.warned.length)} · ${words.marks.count(summary.marks.length)}`, element("div", { className: "summary-columns" }, warnings(summary), marks(summary))),
    folded(text.everyAngle, element("div", { className: "summary-columns" }, ...SIDES.map((side) => hand(side, summary)))),
    folded(text.howToRead,
      element("ul", {}, ...[...text.cautions, text.ifItHurts, ...(fingersMeasured(summary) ? FINGER_CAUTIONS : [])].map((line) => element("li", {}, line))),
      element("p", { className: "small" }, `${text.limitsUsed(vocabulary.limits.name === summary.limits ? vocabulary.limits.label : summary.limits)} ${text.notMeasuredCounts} ${text.certainMeans}`)),
  );
}

/**
 * @param {string} title
 * @param {...Node} children
 */
const folded = (title, ...children) => element("details", { className: "card" }, element("summary", {}, title), ...children);

/**
 * How many warnings, and of how much of the time that speaks: what was measured least of the hand on the fingerboard,
 * and how long that hand could be judged, being in comfort or past a limit for sure.
 * @param {Summary} summary
 */
export function headline(summary) {
  const text = words.summary;
  const watched = wristOnly(summary.quantities).filter((one) => FINGERBOARD_SIDES.includes(one.side));
  const [least] = [...watched].sort((a, b) => (a.measured_share ?? 0) - (b.measured_share ?? 0));
  const held = holds(summary, "extreme").length;
  const count = summary.warned.length === 0 && held > 0 ? text.unwarned(held) : text.warnings(summary.warned.length);
  if (!least) return text.headlineNothing(count);
  const share = least.measured_share ?? 0;
  const judged = Math.min(...summary.hands.filter((one) => FINGERBOARD_SIDES.includes(one.side)).map(judgedShare), share);
  const told = text.headline(count, labelOf(least.quantity), percent(share), percent(judged));
  return summary.warned.length === 0 && judged < vocabulary.enough_share ? text.tooLittle(told) : `${told}.`;
}

/** @param {Summary} summary */
function opening(summary) {
  const text = words.summary;
  const { source, end_reason: ending } = summary.session ?? {};
  const away = summary.duration_s - (summary.watched_s ?? summary.duration_s);
  const parts = [text.ofPractice(duration(summary.duration_s - away)), away >= SHORTEST_AWAY_S ? text.away(duration(away)) : "", source?.name ? text.source(sourceName(source, summary.session?.demo)) : "", ending ? text.endings[ending] ?? ending : ""];
  return `${parts.filter(Boolean).join(", ")}. ${text.keptHere}`;
}

/** @param {Summary} summary */
function warnings(summary) {
  const text = words.summary;
  const card = element("section", { className: "card" }, element("h2", {}, text.warnings(summary.warned.length)));
  if (summary.warned.length === 0) card.append(element("p", {}, text.noneHeld));
  else {
    card.append(table([words.marks.at, text.what, words.detail.timePast, text.peak], summary.warned.map((warning) => {
      const held = excursionOf(warning, summary.excursions);
      return [clock(warning.since_s), sidedLeaning(warning), pastText(held), held ? sized(warning.quantity, held.peak) : "–"];
    }), text.warningsCaption));
  }
  return card;
}

/**
 * The extreme excursion in which a warning fired.
 * @param {WarnedThen} warning
 * @param {readonly Excursion[]} excursions
 */
function excursionOf(warning, excursions) {
  return excursions.find((one) => one.level === "extreme" && one.side === warning.side && one.quantity === warning.quantity
    && one.direction === warning.direction && one.start_s <= warning.fired_s
    && (one.end_s === null || one.end_s >= warning.fired_s));
}

/** @param {Summary} summary */
function marks(summary) {
  const text = words.marks;
  const card = element("section", { className: "card" }, element("h2", {}, text.count(summary.marks.length)));
  if (summary.marks.length === 0) card.append(element("p", {}, text.how));
  else {
    card.append(element("ol", { className: "marks" },
      ...summary.marks.map((mark) => element("li", {}, mark.note ? `${clock(mark.time_s)}: ${mark.note}` : clock(mark.time_s)))));
  }
  return card;
}

/**
 * The wrist first, then the fingers.
 * @param {Side} side
 * @param {Summary} summary
 */
function hand(side, summary) {
  const entries = wristOnly(summary.quantities).filter((entry) => entry.side === side);
  const card = element("section", { className: "card" }, element("h2", {}, words.hands[side]));
  if (entries.length === 0) card.append(element("p", {}, words.summary.nothingRecorded));
  const whole = summary.hands.find((one) => one.side === side);
  if (whole) card.append(element("p", { className: "hand-states" }, handStates(whole)));
  for (const entry of entries) card.append(quantityPart(entry, quantityOf(entry.quantity), summary.excursions));
  card.append(fingerGroup(summary, side));
  return card;
}

/**
 * The share of the whole time in each state of the hand.
 * @param {HandTime} time
 */
function handStates({ total_s: totalS, states_s: seconds }) {
  const shares = [...byState(seconds)].filter(([, spent]) => spent > 0).map(([state, spent]) => `${words.states[state]} ${percent(spent / totalS)}`);
  return words.summary.ofTheTime(sentenceCase(shares.join(", ")));
}

/**
 * @param {Exposure} entry
 * @param {Quantity} quantity
 * @param {readonly Excursion[]} excursions those of the session
 */
function quantityPart(entry, quantity, excursions) {
  const text = words.summary;
  const known = entry.measured_s > 0;
  const p = entry.unit === "mm" ? entry.percentiles_mm : entry.percentiles_deg;
  return element("div", { className: "quantity" },
    element("h3", {}, sentenceCase(labelOf(quantity.name))),
    element("p", {}, measured(entry)),
    known ? spectrum(entry, quantity) : null,
    known ? stateTable(entry) : null,
    p ? element("p", {}, text.spread(sized(quantity.name, p.p50), sized(quantity.name, p.p10), sized(quantity.name, p.p90))) : null,
    element("p", {}, longest(entry, excursions)));
}

/** @param {Exposure} entry */
function measured(entry) {
  const reasons = Object.entries(entry.unseen_s).filter(([, seconds]) => seconds >= SHORTEST_REASON_S)
    .map(([reason, seconds]) => `${refusalName(reason)} ${duration(seconds)}`);
  return words.summary.measured(percent(entry.measured_share), reasons.join("; "));
}

/**
 * One bar from the extreme of one direction to the extreme of the other, as long as the time spent there.
 * @param {Exposure} entry
 * @param {Quantity} quantity
 */
function spectrum(entry, { positive, negative }) {
  /** @type {(readonly [Known, string])[]} */
  const order = [...(negative === null ? [] : [...STATES].reverse().map((state) => /** @type {const} */ ([state, negative]))),
    ...STATES.map((state) => /** @type {const} */ ([state, positive]))];
  const bar = svg("svg", { class: "spectrum", viewBox: "0 0 400 26", preserveAspectRatio: "none", "aria-hidden": "true" });
  let x = 0;
  for (const [state, direction] of order) {
    const seconds = secondsIn(entry.directions.find((one) => one.direction === direction), state);
    const width = (400 * seconds) / entry.measured_s;
    if (width > 0) bar.append(svg("rect", { class: `state-${state}`, x: x.toFixed(2), y: 1, width: width.toFixed(2), height: 24 }));
    x += width;
  }
  return element("div", { className: "spectrum-row", attr: { "aria-hidden": "true" } },
    element("span", {}, negative === null ? "" : directionName(negative)), bar, element("span", {}, directionName(positive)));
}

/**
 * @param {DirectionExposure | undefined} direction
 * @param {Known} state
 */
const secondsIn = (direction, state) => byState(direction?.states_s ?? {}).get(state) ?? 0;

/** @param {Exposure} entry */
function stateTable(entry) {
  const cell = (/** @type {DirectionExposure} */ direction, /** @type {Known} */ state) => {
    const seconds = secondsIn(direction, state);
    if (seconds === 0) return "–";
    const extreme = state === "extreme" ? direction.levels.find((one) => one.level === "extreme") : undefined;
    return `${duration(seconds)} (${percent(seconds / entry.measured_s)})${extreme ? `, ${words.certain(duration(extreme.certain_s))}` : ""}`;
  };
  return table([words.summary.state, ...entry.directions.map((one) => sentenceCase(directionName(one.direction)))],
    STATES.map((state) => [sentenceCase(words.states[state]), ...entry.directions.map((one) => cell(one, state))]),
    words.summary.statesCaption(words.hands[entry.side], labelOf(entry.quantity)));
}

/**
 * @param {Exposure} entry
 * @param {readonly Excursion[]} excursions
 */
function longest(entry, excursions) {
  const text = words.summary;
  if (entry.measured_s === 0) return text.nothingMeasured;
  const found = entry.directions.flatMap(({ direction, levels }) => levels.flatMap((level) => {
    const hold = longestHold(excursions, { side: entry.side, quantity: entry.quantity, direction, level: level.level });
    return hold ? [{ ...level, direction, hold }] : [];
  }));
  const extreme = found.filter((one) => one.level === "extreme");
  const [most] = (extreme.length > 0 ? extreme : found).sort((a, b) => (b.hold.past_s ?? 0) - (a.hold.past_s ?? 0));
  if (!most) return text.neverPast;
  const limit = limitText((entry.unit === "mm" ? most.limit_mm : most.limit_deg) ?? NaN, entry.unit);
  return text.longestHold(words.limits[most.level], limit, directionName(most.direction), pastText(most.hold), clock(most.hold.start_s));
}

/**
 * @param {readonly string[]} head
 * @param {readonly (readonly string[])[]} rows
 * @param {string} caption
 */
function table(head, rows, caption) {
  return element("table", {},
    element("caption", { className: "spoken" }, caption),
    element("thead", {}, element("tr", {}, ...head.map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows.map(([first, ...rest]) => element("tr", {},
      element("th", { scope: "row" }, first), ...rest.map((text) => element("td", {}, text))))));
}
