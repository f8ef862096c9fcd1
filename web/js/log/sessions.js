// The list of sessions, newest first.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { dateAndTime, duration, percent, sourceName } from "../format.js";
import { words } from "../language.js";
import { filmsCard } from "./films.js";
import { faultPage, head, link, table } from "./parts.js";

/** @import { Answer, ListedSession, Page } from "../api.d.ts" */

const MOST = 30;

/**
 * What was played, or the name of the film, so that one finds the practice again.
 * @param {ListedSession} one
 */
function whatOf({ pieces, source, demo }) {
  const name = pieces.length > 0 ? pieces.join(", ") : source?.kind === "film" && demo !== true ? sourceName(source) : "";
  return name === "" ? "–" : element("span", { className: "long-name short", title: name }, name);
}

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function sessionsPage([from = "0"]) {
  const text = words.sessions;
  /** @type {Answer<{ sessions: ListedSession[] }>} */
  const { body, error } = await get("sessions");
  if (!body) return faultPage(text.title, error);
  const all = body.sessions;
  const films = filmsCard();
  const first = Math.max(0, Number.parseInt(from, 10) || 0);
  const rows = all.slice(first, first + MOST).map((one) => [
    link(dateAndTime(one.started_at), `#/session/${encodeURIComponent(one.id)}`, {}, one.demo ? element("small", {}, ` (${text.demo})`) : ""),
    whatOf(one),
    one.ended_at === null ? text.running : duration(one.duration_s),
    String(one.warnings), percent(one.extreme_share), percent(one.measured_share), one.pain === null ? "–" : String(one.pain), String(one.clips),
  ]);
  const more = element("p", { className: "row" },
    first > 0 ? link(text.newer, `#/sessions/${Math.max(0, first - MOST)}`) : null,
    first + MOST < all.length ? link(text.older, `#/sessions/${first + MOST}`) : null);
  return {
    title: text.title,
    nodes: [
      head(text.title),
      all.length === 0 ? element("p", {}, text.none)
        : table(text.caption, [text.when, text.played, text.length, text.warnings, text.extreme, words.fingers.measured, text.pain, words.clips.title], rows, "wide compact"),
      element("p", { className: "small" }, text.about),
      more,
      films.node,
    ],
    leave: films.leave,
  };
}
