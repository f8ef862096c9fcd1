// Weeks: how much was played, and the share of measured time past each limit, per direction and per piece.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { date, percent, sentenceCase } from "../format.js";
import { words } from "../language.js";
import { NO_FORCE, directionName, fingersOnly, labelOf, quantityOf, sidedLeaning, wristOnly } from "../terms.js";
import { translated } from "../translated.js";
import { barChart, drawCharts, ratingChart, shareChart } from "./charts.js";
import { card, faultPage, fold, head, link, named, table } from "./parts.js";

/** @import { Answer, Page, PainDay, PieceTrend, TrendKey, TrendLine, Trends, WeekLoad } from "../api.d.ts" */

const CHOICES = /** @type {const} */ ([13, 26, 52, 156]);
const MOST_LINES = 6;
const MOST_COLUMNS = 3;

/** @param {TrendKey} one */
const trendName = (one) => words.trends.line(sidedLeaning(one), one.level);

/** "left flexion", or with the finger's name: what is short enough for a legend. @param {TrendKey} one */
function groupName(one) {
  const what = quantityOf(one.quantity).finger === null ? "" : labelOf(one.quantity);
  return `${words.sides[one.side]} ${what} ${one.direction === "lift" ? "" : directionName(one.direction)}`.replaceAll(/ +/g, " ").trim();
}

/** @param {TrendKey} one */
const shortName = (one) => words.trends.short(groupName(one), one.level);

/**
 * Extreme limits before comfort limits, then the largest share first.
 * @param {{ one: TrendKey, most: number }} a
 * @param {{ one: TrendKey, most: number }} b
 */
const worstFirst = (a, b) => Number(b.one.level === "extreme") - Number(a.one.level === "extreme") || b.most - a.most;

/**
 * The lines worth showing: those with any time past their limit, worst first.
 * @param {readonly TrendLine[]} lines
 */
export function shownLines(lines) {
  return lines.map((one) => ({ one, most: Math.max(0, ...one.weeks.map((week) => week.share ?? 0)) }))
    .filter(({ most }) => most > 0).sort(worstFirst).slice(0, MOST_LINES).map(({ one }) => one);
}

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function trendsPage([weeks = "26"]) {
  const text = words.trends;
  /** @type {Answer<Trends>} */
  const { body, error } = await get(`trends?weeks=${/^\d+$/.test(weeks) ? weeks : 26}`);
  if (!body) return faultPage(text.title, error);
  const choice = element("p", { className: "row no-print" }, ...CHOICES.map((count) =>
    link(text.spans[count], `#/trends/${count}`, { className: "small-button", attr: String(count) === weeks ? { "aria-current": "true" } : {} })));
  if (body.load.length === 0) return { title: text.title, nodes: [head(text.title), choice, element("p", {}, text.none)] };
  return {
    title: text.title,
    nodes: [
      head(text.title, body.waiting > 0 ? element("p", {}, text.waiting(body.waiting)) : null),
      choice,
      body.notice ? element("p", { className: "aside-note" }, translated(body.notice)) : null,
      weekCard(wristOnly(body.lines), body.load),
      painCard(body.pain),
      piecesCard(body.pieces.map((piece) => ({ ...piece, lines: wristOnly(piece.lines) }))),
      fold(text.more, linesCard(text.byDirection, wristOnly(body.lines)), fingersCard(fingersOnly(body.lines)), loadCard(body.load)),
    ],
    shown: () => drawCharts(document),
  };
}

/**
 * The last week that was measured against the one before it: a line for each angle that was past its extreme limit in
 * either, with the piece in which it was most.
 * @param {readonly TrendLine[]} lines
 * @param {readonly WeekLoad[]} load up to the week of today
 */
function weekCard(lines, load) {
  const text = words.trends;
  const ago = (/** @type {string} */ monday) => load.length - 1 - load.findIndex((week) => week.monday === monday);
  const told = lines.filter((one) => one.level === "extreme").flatMap((one) => {
    const [now, before] = one.weeks.filter((week) => week.share !== null).reverse();
    return now ? [{ one, now: now.share ?? 0, before: before?.share ?? 0, told: text.week(sidedLeaning(one), percent(now.share), ago(now.monday),
      before ? { share: percent(before.share), ago: ago(before.monday) } : null, one.worst ? { piece: one.worst.piece, share: percent(one.worst.share) } : null) }] : [];
  });
  const past = told.filter(({ now, before }) => Math.max(now, before) > 0).sort((a, b) => b.now - a.now || b.before - a.before);
  const node = card(text.weekTitle, past.length === 0 ? element("p", {}, told.length > 0 ? text.weekNone : text.weekUnknown)
    : element("ul", {}, ...past.map((one) => element("li", {}, one.told))));
  node.id = "week";
  return node;
}

/** @param {readonly PainDay[]} days */
function painCard(days) {
  const text = words.trends;
  const last = days.at(-1);
  if (!last) return card(text.pain, element("p", {}, text.painNone));
  const rated = (/** @type {"before" | "after"} */ moment) => days.filter((one) => one[moment] !== null).map((one) => ({ x: one.day, y: one[moment] ?? 0 }));
  const line = (/** @type {"before" | "after"} */ moment) => ({ name: text.painAt[moment], hollow: moment === "before", x: rated(moment).map((one) => one.x), y: rated(moment).map((one) => one.y) });
  const node = card(text.pain, ratingChart(text.painChart, 10, [line("before"), line("after")]),
    element("p", {}, text.painLast(date(`${last.day}T12:00`), last.before, last.after)),
    element("details", {}, element("summary", {}, text.painAll), table(text.painChart, [words.charts.date, text.painAt.before, text.painAt.after],
      [...days].reverse().map((one) => [date(`${one.day}T12:00`), String(one.before ?? "–"), String(one.after ?? "–")]))));
  node.id = "pain";
  return node;
}

/** @param {readonly TrendLine[]} lines */
function fingersCard(lines) {
  if (lines.length === 0) return card(words.fingers.title, element("p", {}, words.fingers.noneInTime));
  const node = linesCard(words.fingers.title, lines);
  node.append(element("p", { className: "small" }, NO_FORCE));
  return node;
}

/**
 * @param {string} title
 * @param {readonly TrendLine[]} lines
 */
function linesCard(title, lines) {
  const text = words.trends;
  const shown = shownLines(lines);
  if (shown.length === 0) return card(title, element("p", {}, text.noLimitPassed));
  return card(title,
    shareChart(text.chart(title), shown.map((one) => ({ name: shortName(one), group: groupName(one), level: one.level,
      x: one.weeks.map((week) => week.monday), y: one.weeks.map((week) => week.share) }))),
    table(text.caption(title), [text.direction, text.previousWeek, text.lastWeek, text.change, text.slope], shown.map((one) => {
      const known = one.weeks.filter((week) => week.share !== null);
      return [trendName(one), percent(known.at(-2)?.share ?? null), percent(known.at(-1)?.share ?? null), points(one.change?.share ?? null), points(one.slope_per_week)];
    })),
    element("p", { className: "small" }, text.about));
}

/** @param {number | null} share */
function points(share) {
  if (share === null) return "–";
  const value = Math.round(share * 1000) / 10;
  return value === 0 ? words.trends.noChange : words.trends.points(`${value > 0 ? "+" : "−"}${Math.abs(value)}`);
}

/** @param {TrendKey} one */
const keyOf = (one) => JSON.stringify([one.side, one.quantity, one.direction, one.level]);

/** @param {readonly PieceTrend[]} pieces */
function piecesCard(pieces) {
  const text = words.trends;
  if (pieces.length === 0) return card(text.byPiece, element("p", {}, text.noPiece));
  /** @type {Map<string, { one: TrendKey, most: number }>} */
  const keys = new Map();
  for (const one of pieces.flatMap((piece) => piece.lines)) {
    keys.set(keyOf(one), { one, most: Math.max(keys.get(keyOf(one))?.most ?? 0, one.total.share ?? 0) });
  }
  const columns = [...keys.values()].filter(({ most }) => most > 0).sort(worstFirst).slice(0, MOST_COLUMNS).map(({ one }) => one);
  return card(text.byPiece, table(text.byPieceCaption, [words.playing.piece, ...columns.map((one) => sentenceCase(shortName(one)))],
    pieces.map((piece) => [named(piece.piece, `#/piece/${piece.piece_id}`),
      ...columns.map((key) => percent(piece.lines.find((one) => keyOf(one) === keyOf(key))?.total.share ?? null))])),
  element("p", { className: "small" }, text.leastRecentFirst));
}

/** @param {readonly WeekLoad[]} load */
function loadCard(load) {
  const text = words.trends;
  const last = load.at(-1);
  return card(text.minutes, barChart(text.minutesChart, load.map((one) => one.monday), load.map((one) => one.minutes), text.minutesUnit),
    last ? element("p", { className: "small" }, text.thisWeek(Math.round(last.minutes), last.sessions)) : null);
}
