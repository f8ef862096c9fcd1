// What is read after the stop: what happened, when, for how long; and what was not measured, and why.

import { element, svg } from "./dom.js";
import { FINGER_CAUTIONS, fingerGroup, fingersMeasured } from "./finger-group.js";
import { SIDE_LABEL, UNIT_SIGN, clock, duration, percent, sentenceCase, sizeAndDirection, wristOnly } from "./words.js";

/** Of a measured angle: how it is drawn, and the word it has in `states_s`. */
const STATES = [["within", "in comfort"], ["unsure", "unsure"], ["beyond", "past comfort"], ["extreme", "extreme"]];

/** A shorter episode beyond a limit is a moment. */
const SHORTEST_S = 0.05;

const CAUTIONS = [
  "This is posture only. A camera cannot see force, and how hard and how long you press matter as much.",
  "No wrist limit has been validated for players of instruments; these come from work and physiology.",
  "It does not replace a teacher or a clinician, and diagnoses nothing.",
  "If it hurts, stop. Numbness, tingling, weakness or pain that stays: see a clinician.",
];

/** Fills node with a session's summary (posturewatch/review/summaries.py). onStart begins the next session. */
export function showSummary(node, summary, { limits, fault, onStart, sessionId }) {
  const catalogue = new Map(limits.quantities.map((quantity) => [quantity.name, quantity]));
  const start = element("button", { type: "button", className: "button start", id: "start-again", onclick: onStart },
    element("span", { className: "button-label" }, "Start again"), element("kbd", {}, "Page Up"));
  node.replaceChildren(
    element("header", { className: "summary-head" },
      element("div", {}, element("h1", { tabIndex: -1 }, "Practice ended"), element("p", {}, opening(summary)),
        element("p", {}, element("a", { href: `/book.html#/session/${encodeURIComponent(sessionId)}`, className: "bar-button" },
          "Passages, clips and what to work on next")),
        fault ? element("p", { className: "fault", attr: { role: "alert" } }, fault) : null),
      start),
    element("div", { className: "summary-columns" }, warnings(summary, catalogue), marks(summary)),
    element("div", { className: "summary-columns" },
      ...["left", "right"].map((side) => hand(side, summary, catalogue))),
    element("section", { className: "card" }, element("h2", {}, "How to read this"),
      element("ul", {}, ...[...CAUTIONS, ...(fingersMeasured(summary) ? FINGER_CAUTIONS : [])].map((text) => element("li", {}, text))),
      element("p", { className: "small" }, `Limits used: ${limits.name === summary.limits ? limits.label : summary.limits}. `
        + "Time that was not measured counts as not measured, never as comfortable. In comfort means that every watched angle had a number whose 90 % interval lay inside the comfort limits; unsure, that an interval reached past a limit, or that there is none. Certain means with a probability of 90 % or more.")),
  );
}

function opening(summary) {
  const session = summary.session;
  const parts = [`${duration(summary.duration_s)} of practice`];
  if (session?.source?.name) parts.push(`source: ${session.source.name}`);
  if (session?.end_reason && session.end_reason !== "stopped") parts.push(session.end_reason);
  return `${parts.join(", ")}. Everything is kept on this machine.`;
}

function warnings(summary, catalogue) {
  const warned = summary.warned;
  const count = warned.length;
  const card = element("section", { className: "card" },
    element("h2", {}, count === 0 ? "No warnings" : count === 1 ? "1 warning" : `${count} warnings`));
  if (count === 0) {
    card.append(element("p", {}, "Nothing that is warned of was held beyond its extreme limit in the time that was measured."));
    return card;
  }
  card.append(table(["At", "What", "Held for", "Farthest"], warned.map((warning) => {
    const excursion = excursionOf(warning, summary.excursions);
    const until = excursion?.end_s ?? warning.cleared_s ?? summary.duration_s;
    return [
      clock(warning.since_s),
      `${sentenceCase(warning.side)} ${catalogue.get(warning.quantity).directions[warning.direction].words}`,
      duration(Math.max(0, until - warning.since_s)),
      excursion ? size(catalogue.get(warning.quantity), excursion.peak) : "–",
    ];
  }), "What was held beyond its extreme limit and warned of"));
  return card;
}

/** The extreme excursion in which a warning fired. */
function excursionOf(warning, excursions) {
  return excursions.find((one) => one.level === "extreme" && one.side === warning.side && one.quantity === warning.quantity
    && one.direction === warning.direction && one.start_s <= warning.fired_s
    && (one.end_s === null || one.end_s >= warning.fired_s));
}

function marks(summary) {
  const count = summary.marks.length;
  const title = count === 0 ? "No marks" : count === 1 ? "1 mark" : `${count} marks`;
  const card = element("section", { className: "card" }, element("h2", {}, title));
  if (count === 0) card.append(element("p", {}, "While playing, Space, Enter or Page Down marks the moment."));
  else {
    card.append(element("ol", { className: "marks" },
      ...summary.marks.map((mark) => element("li", {}, mark.note ? `${clock(mark.time_s)}: ${mark.note}` : clock(mark.time_s)))));
  }
  return card;
}

/** The wrist first, then the fingers. */
function hand(side, summary, catalogue) {
  const entries = wristOnly(summary.quantities).filter((entry) => entry.side === side);
  const card = element("section", { className: "card" }, element("h2", {}, SIDE_LABEL[side]));
  if (entries.length === 0) card.append(element("p", {}, "Nothing was recorded of this hand."));
  const whole = summary.hands.find((entry) => entry.side === side);
  if (whole) card.append(element("p", { className: "hand-states" }, handStates(whole)));
  for (const entry of entries) card.append(quantityPart(entry, catalogue.get(entry.quantity), side));
  card.append(fingerGroup(summary, side));
  return card;
}

/** The share of the whole time in each state of the hand. */
function handStates({ total_s, states_s }) {
  const shares = Object.entries(states_s).filter(([, seconds]) => seconds > 0).map(([state, seconds]) => `${state} ${percent(seconds / total_s)}`);
  return `${sentenceCase(shares.join(", "))} of the time.`;
}

function quantityPart(entry, quantity, side) {
  const caption = `${SIDE_LABEL[side]}, ${quantity.label}: time by state and direction`;
  return element("div", { className: "quantity" },
    element("h3", {}, sentenceCase(quantity.label)),
    element("p", {}, measured(entry)),
    entry.measured_s > 0 ? spectrum(entry, quantity) : null,
    entry.measured_s > 0 ? zoneTable(entry, caption) : null,
    entry.measured_s > 0 ? element("p", {}, spread(entry[`percentiles_${entry.unit}`], quantity)) : null,
    element("p", {}, longest(entry, quantity)));
}

function measured(entry) {
  const reasons = Object.entries(entry.unseen_s).filter(([, seconds]) => seconds >= 0.05);
  const share = `Measured ${percent(entry.measured_share)} of the time.`;
  if (reasons.length === 0) return share;
  return `${share} The rest: ${reasons.map(([reason, seconds]) => `${reason} ${duration(seconds)}`).join("; ")}.`;
}

/** One bar from the extreme of one direction to the extreme of the other, as long as the time spent there. */
function spectrum(entry, quantity) {
  const find = (state, direction) => entry.directions.find((one) => one.direction === direction)?.states_s[state] ?? 0;
  const order = [
    ...(quantity.negative ? [...STATES].reverse().map((state) => [state, quantity.negative]) : []),
    ...STATES.map((state) => [state, quantity.positive]),
  ];
  const bar = svg("svg", { class: "spectrum", viewBox: "0 0 400 26", preserveAspectRatio: "none", "aria-hidden": "true" });
  let x = 0;
  for (const [[drawn, state], direction] of order) {
    const width = (400 * find(state, direction)) / entry.measured_s;
    if (width > 0) bar.append(svg("rect", { class: `bar-${drawn}`, x: x.toFixed(2), y: 1, width: width.toFixed(2), height: 24 }));
    x += width;
  }
  return element("div", { className: "spectrum-row", attr: { "aria-hidden": "true" } },
    element("span", {}, quantity.negative ?? ""), bar, element("span", {}, quantity.positive));
}

function zoneTable(entry, caption) {
  const cell = (direction, state) => {
    const seconds = direction.states_s[state];
    if (seconds === 0) return "–";
    const extreme = state === "extreme" ? direction.levels.find((one) => one.level === "extreme") : undefined;
    return `${duration(seconds)} (${percent(seconds / entry.measured_s)})${extreme ? `, ${duration(extreme.certain_s)} certain` : ""}`;
  };
  return table(["State", ...entry.directions.map((one) => sentenceCase(one.direction))],
    STATES.map(([, state]) => [sentenceCase(state), ...entry.directions.map((one) => cell(one, state))]), caption);
}

function spread({ p10, p50, p90 }, quantity) {
  return `Middle value ${size(quantity, p50)}; four fifths of the time between ${size(quantity, p10)} and `
    + `${size(quantity, p90)} (10th, 50th and 90th percentile).`;
}

function longest(entry, quantity) {
  const beyond = entry.directions.flatMap((one) => one.levels.map((level) => ({ ...level, direction: one.direction })))
    .filter((one) => one.longest_s !== null && one.longest_s >= SHORTEST_S);
  if (entry.measured_s === 0) return "Nothing was measured.";
  if (beyond.length === 0) return "Never seen beyond a limit for longer than a moment.";
  const level = beyond.some((one) => one.level === "extreme") ? "extreme" : "comfort";
  const most = beyond.filter((one) => one.level === level).reduce((a, b) => (b.longest_s > a.longest_s ? b : a));
  return `Longest beyond the ${level} limit (${Math.round(most[`limit_${entry.unit}`])}${UNIT_SIGN[quantity.unit]} ${most.direction}): `
    + `${duration(most.longest_s)}, at ${clock(most.longest_start_s)}.`;
}

function size(quantity, value) {
  const { size: text, direction } = sizeAndDirection(quantity, value);
  return `${text}\u00a0${direction}`;
}

function table(head, rows, caption) {
  return element("table", {},
    element("caption", { className: "spoken" }, caption),
    element("thead", {}, element("tr", {}, ...head.map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows.map(([first, ...rest]) => element("tr", {},
      element("th", { scope: "row" }, first), ...rest.map((text) => element("td", {}, text))))));
}
