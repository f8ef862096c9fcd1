// Weeks: how much was played, and the share of measured time beyond each limit, per direction and per piece.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { NO_FORCE, fingersOnly } from "../fingers.js";
import { percent, sentenceCase, wristOnly } from "../words.js";
import { barChart, drawCharts, shareChart } from "./charts.js";
import { card, faultPage, head, link, table } from "./parts.js";
import { leaning, quantityOf } from "./quantities.js";

const CHOICES = [[13, "three months"], [26, "half a year"], [52, "a year"], [156, "three years"]];
const MOST_LINES = 6;

export const trendName = (one) => {
  const { finger } = quantityOf(one.quantity);
  // "wrist, bent in": the joint, then what it does; a finger's words name it.
  const words = leaning(one.quantity, one.direction);
  return `${sentenceCase(one.side)} ${finger ? words : words.replace(" ", ", ")}, beyond ${one.level} limit`;
};
const shortName = (one) => {
  const { finger, label } = quantityOf(one.quantity);
  return `${one.side} ${finger ? `${label} ` : ""}${one.direction === "lift" ? "" : one.direction}`.trim() + `, ${one.level}`;
};

/** The lines worth showing: extreme limits before comfort limits, those with any time beyond, most first. */
export function shownLines(lines, totalOf) {
  return lines.map((one) => ({ one, most: Math.max(0, ...totalOf(one).map((total) => total.share ?? 0)) }))
    .filter(({ most }) => most > 0)
    .sort((a, b) => (b.one.level === "extreme") - (a.one.level === "extreme") || b.most - a.most)
    .slice(0, MOST_LINES).map(({ one }) => one);
}

export async function trendsPage([weeks = "26"]) {
  const { body, error } = await get(`trends?weeks=${/^\d+$/.test(weeks) ? weeks : 26}`);
  if (error) return faultPage("Trends", error);
  const choice = element("p", { className: "row no-print" }, ...CHOICES.map(([count, name]) =>
    link(name, `#/trends/${count}`, { className: "small-button", attr: String(count) === weeks ? { "aria-current": "true" } : {} })));
  if (body.load.length === 0) {
    return { title: "Trends", nodes: [head("Trends"), choice, element("p", {}, "Nothing was recorded in this time; after the first sessions, this page tells how weeks compare.")] };
  }
  return {
    title: "Trends",
    nodes: [
      head("Trends", body.waiting > 0 ? element("p", {}, `${body.waiting} sessions are not worked out yet; open this page again in a moment.`) : null),
      choice,
      body.notice ? element("p", { className: "aside-note" }, body.notice) : null,
      linesCard("By direction", wristOnly(body.lines)),
      fingersCard(fingersOnly(body.lines)),
      piecesCard(body.pieces.map((piece) => ({ ...piece, lines: wristOnly(piece.lines) }))), loadCard(body.load),
    ].filter((one) => one !== null),
    shown: () => drawCharts(document),
  };
}

function fingersCard(lines) {
  if (lines.length === 0) return card("Fingers", element("p", {}, "No fingers were measured in this time: the weights in use did not give them, or the sessions are older than their measurement."));
  const node = linesCard("Fingers", lines);
  node.append(element("p", { className: "small" }, NO_FORCE));
  return node;
}

function linesCard(title, lines) {
  const shown = shownLines(lines, (one) => one.weeks);
  if (shown.length === 0) {
    return card(title, element("p", {}, "No limit was passed in a week that was measured for at least five minutes."));
  }
  return card(title,
    shareChart(`${title}: share of the measured time beyond each limit, by week`, shown.map((one) => ({
      name: shortName(one), x: one.weeks.map((week) => week.monday), y: one.weeks.map((week) => week.share) }))),
    table(`${title}: weeks compared`, ["Direction", "Last week but one measured", "Last week measured", "Change", "Trend a week"], shown.map((one) => {
      const known = one.weeks.filter((week) => week.share !== null);
      return [trendName(one), percent(known.at(-2)?.share ?? null), percent(known.at(-1)?.share ?? null), points(one.change?.share ?? null), points(one.slope_per_week)];
    })),
    element("p", { className: "small" }, "Share of the measured time. A week measured for less than five minutes has no share, and shows as a gap. "
      + "The trend is the median of the changes between weeks, from four weeks on."));
}

function points(share) {
  if (share === null) return "–";
  const value = Math.round(share * 1000) / 10;
  return value === 0 ? "none" : `${value > 0 ? "+" : "−"}${Math.abs(value)} points`;
}

function piecesCard(pieces) {
  const keys = new Map();
  for (const piece of pieces) {
    for (const one of piece.lines) {
      const key = JSON.stringify([one.side, one.quantity, one.direction, one.level]);
      const most = Math.max(keys.get(key)?.most ?? 0, one.total.share ?? 0);
      keys.set(key, { one, most });
    }
  }
  const columns = [...keys.entries()].filter(([, { most }]) => most > 0)
    .sort((a, b) => (b[1].one.level === "extreme") - (a[1].one.level === "extreme") || b[1].most - a[1].most).slice(0, 3);
  if (pieces.length === 0) return card("By piece", element("p", {}, "No piece was named in this time."));
  return card("By piece", table("Share of the measured time beyond each limit, by piece",
    ["Piece", ...columns.map(([, { one }]) => sentenceCase(shortName(one)))],
    pieces.map((piece) => [link(piece.piece, `#/piece/${piece.piece_id}`), ...columns.map(([key]) => percent(piece.lines.find((one) =>
      JSON.stringify([one.side, one.quantity, one.direction, one.level]) === key)?.total.share ?? null))])),
  element("p", { className: "small" }, "Those not played for longest come first."));
}

function loadCard(load) {
  const last = load.at(-1);
  return card("Minutes a week", barChart("Minutes recorded, by week", load.map((one) => one.monday), load.map((one) => one.minutes), "minutes"),
    element("p", { className: "small" }, `This week: ${Math.round(last.minutes)} minutes in ${last.sessions} ${last.sessions === 1 ? "session" : "sessions"}. `
      + "Only what was recorded is known; practice without posturewatch counts as none."));
}
