// The list of sessions, newest first.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { bytes, dateAndTime, duration } from "../format.js";
import { words } from "../language.js";
import { faultPage, head, link, table } from "./parts.js";

/** @import { Answer, DataSizes, KeptSession, Page } from "../api.d.ts" */

const MOST = 60;

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function sessionsPage([from = "0"]) {
  const text = words.sessions;
  /** @type {[Answer<{ sessions: KeptSession[] }>, Answer<DataSizes>]} */
  const [{ body, error }, data] = await Promise.all([get("sessions"), get("data")]);
  if (!body) return faultPage(text.title, error);
  const sizes = new Map((data.body?.sessions ?? []).map((one) => [one.id, one]));
  const all = body.sessions;
  const first = Math.max(0, Number.parseInt(from, 10) || 0);
  const rows = all.slice(first, first + MOST).map((one) => {
    const size = sizes.get(one.id);
    return [
      link(dateAndTime(one.started_at), `#/session/${encodeURIComponent(one.id)}`),
      one.ended_at === null ? text.running : duration(one.duration_s),
      one.demo ? text.demo : one.source?.name ?? "",
      String(size?.clips ?? 0),
      size ? bytes(size.samples_bytes + size.clips_bytes) : "",
    ];
  });
  const more = element("p", { className: "row" },
    first > 0 ? link(text.newer, `#/sessions/${Math.max(0, first - MOST)}`) : null,
    first + MOST < all.length ? link(text.older, `#/sessions/${first + MOST}`) : null);
  return {
    title: text.title,
    nodes: [
      head(text.title),
      all.length === 0 ? element("p", {}, text.none)
        : table(text.caption, [text.when, text.length, text.source, words.clips.title, text.size], rows, "wide"),
      more,
    ],
  };
}
