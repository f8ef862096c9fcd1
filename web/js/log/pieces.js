// The repertoire, least recently played first, and a page for each piece.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { date, decimal, percent } from "../format.js";
import { words } from "../language.js";
import { leaning, wristOnly } from "../terms.js";
import { clipList } from "./clips.js";
import { drawCharts, shareChart } from "./charts.js";
import { button, card, changed, confirmed, done, faultPage, field, head, link, named, table } from "./parts.js";

/** @import { Answer, Page, PieceDocument, PieceTotals, PlayedSession } from "../api.d.ts" */

const DAY_MS = 86_400_000;
const MOST_LINES = 6;

/** @param {string | null} iso */
function ago(iso) {
  const text = words.pieces;
  if (iso === null) return text.never;
  const days = Math.floor((Date.now() - new Date(iso).getTime()) / DAY_MS);
  if (days < 1) return text.withinADay;
  if (days < 14) return text.daysAgo(days);
  return days < 60 ? text.weeksAgo(Math.floor(days / 7)) : text.monthsAgo(Math.floor(days / 30.4));
}

/** @param {number} count */
const minutes = (count) => `${count < 10 ? decimal(Math.round(count * 10) / 10) : Math.round(count)} min`;

/** @returns {Promise<Page>} */
export async function piecesPage() {
  const text = words.pieces;
  /** @type {Answer<{ pieces: PieceTotals[] }>} */
  const { body, error } = await get("pieces");
  if (!body) return faultPage(text.title, error);
  return {
    title: text.title,
    nodes: [head(text.title, element("p", {}, text.about)),
      body.pieces.length === 0 ? element("p", {}, text.none)
        : table(text.caption, [words.playing.piece, text.lastPlayed, text.played, words.sessions.title, words.clips.title],
          body.pieces.map((one) => [named(one.name, `#/piece/${one.id}`), ago(one.last_played), minutes(one.minutes), String(one.sessions), String(one.clips)]), "wide")],
  };
}

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function piecePage([id = ""]) {
  const text = words.pieces;
  /** @type {Answer<PieceDocument>} */
  const { body, error } = await get(`pieces/${encodeURIComponent(id)}`);
  if (!body) return faultPage(words.playing.piece, error);
  return {
    title: body.name,
    nodes: [
      head(body.name, element("p", {}, body.last_played === null ? text.neverPlayed
        : text.history(ago(body.last_played), date(body.last_played), minutes(body.minutes), body.sessions))),
      exposureCard(body.played), playedCard(body.played),
      card(words.clips.title, clipList(body.clip_list, text.noClips, true)), nameCard(body),
    ],
    shown: () => drawCharts(document),
  };
}

/**
 * Lines of shares over sessions; the passages of one session count together, by their measured time.
 * @param {readonly PlayedSession[]} played
 */
function linesOf(played) {
  /** @type {Map<string, { name: string, level: string, cells: { measured: number, beyond: number }[] }>} */
  const lines = new Map();
  played.forEach((session, place) => {
    for (const one of wristOnly(session.exposure)) {
      for (const level of one.levels) {
        const name = words.trends.line(words.sided(one.side, leaning(one.quantity, level.direction)), level.level);
        const line = lines.get(name) ?? { name, level: level.level, cells: played.map(() => ({ measured: 0, beyond: 0 })) };
        lines.set(name, line);
        const cell = line.cells[place];
        if (!cell) continue;
        cell.measured += one.measured_s;
        cell.beyond += level.seconds;
      }
    }
  });
  return [...lines.values()].map(({ name, level, cells }) => {
    const y = cells.map((cell) => (cell.measured > 0 ? cell.beyond / cell.measured : null));
    return { name, level, group: name.split(", ")[0] ?? name, x: played.map((one) => one.started_at), y, most: Math.max(...y.map((share) => share ?? 0)) };
  }).filter((one) => one.most > 0)
    .sort((a, b) => Number(b.level === "extreme") - Number(a.level === "extreme") || b.most - a.most).slice(0, MOST_LINES);
}

/** @param {readonly PlayedSession[]} played */
function exposureCard(played) {
  const text = words.pieces;
  const lines = linesOf(played);
  if (lines.length === 0) return card(text.overTime, element("p", {}, text.noLimitPassed));
  const last = lines.map((one) => `${one.name}: ${percent(one.y.at(-1) ?? null)}`).join("; ");
  return card(text.overTime, shareChart(text.chart, lines), element("p", { className: "small" }, text.lastSession(last)));
}

/** @param {readonly PlayedSession[]} played */
function playedCard(played) {
  const text = words.pieces;
  return card(text.where, table(text.whereCaption, [words.sessions.session, text.played, words.playing.passages], [...played].reverse().map((one) => [
    link(date(one.started_at), `#/session/${encodeURIComponent(one.session_id)}`), minutes(one.minutes),
    [...new Set(one.passages.map((passage) => passage.bars || text.wholePiece))].join(", ")])));
}

/** @param {PieceDocument} piece */
function nameCard(piece) {
  const text = words.pieces;
  const name = element("input", { value: piece.name, maxLength: 200 });
  return card(text.name, field(text.name, name), element("p", { className: "row" },
    button(text.rename, async () => {
      /** @type {Answer<PieceTotals>} */
      const answer = await send("PATCH", `pieces/${piece.id}`, { name: name.value });
      if (!answer.body) done(Promise.resolve(answer));
      else if (answer.body.id === piece.id) changed();
      else location.hash = `#/piece/${answer.body.id}`;
    }),
    button(text.delete, async () => {
      if (await confirmed(text.deleteQuestion(piece.name), text.delete)
        && await done(send("DELETE", `pieces/${piece.id}`))) location.hash = "#/pieces";
    }, { className: "danger", disabled: piece.passages > 0 })),
  element("p", { className: "small" }, text.renameNote));
}
