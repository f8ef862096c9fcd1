// The player's own data: where they lie, how large they are, and how they go away.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { bytes, dateAndTime, duration } from "../format.js";
import { words } from "../language.js";
import { button, card, changed, confirmed, done, faultPage, head, link, table } from "./parts.js";
import { notesCard } from "./remarks.js";

/** @import { Answer, DataSizes, Page, SessionSizes } from "../api.d.ts" */

/** @returns {Promise<Page>} */
export async function dataPage() {
  const text = words.data;
  /** @type {Answer<DataSizes>} */
  const { body, error } = await get("data");
  if (!body) return faultPage(text.title, error);
  const rows = [[text.numbers, bytes(body.database_bytes)], [words.clips.title, bytes(body.clips_bytes)]];
  if (body.set_aside_bytes > 0) rows.push([text.damaged, bytes(body.set_aside_bytes)]);
  if (body.other_bytes > 0) rows.push([text.other, bytes(body.other_bytes)]);
  rows.push([text.total, bytes(body.total_bytes)]);
  return {
    title: text.title,
    nodes: [
      head(text.title, element("p", {}, text.about), element("p", {}, element("code", { className: "path" }, body.folder))),
      card(text.storage, table(text.storage, [text.what, text.size], rows)),
      card(words.sessions.title, body.sessions.length === 0 ? element("p", {}, text.none)
        : table(text.sessions, [words.sessions.session, words.sessions.length, text.numbersShort, words.clips.title, text.save, words.delete], body.sessions.map(row), "wide compact")),
      notesCard(),
      card(text.deleteAll, element("p", {}, text.deleteAllWhat),
        element("p", {}, button(text.deleteAll, everything, { className: "danger", id: "forget" }))),
    ],
  };
}

/** @param {SessionSizes} one */
function row(one) {
  const text = words.data;
  const id = encodeURIComponent(one.id);
  const when = dateAndTime(one.started_at);
  return [link(when, `#/session/${id}`), one.duration_s === null ? words.sessions.running : duration(one.duration_s), bytes(one.samples_bytes),
    one.clips > 0 ? `${one.clips}, ${bytes(one.clips_bytes)}` : text.noClips,
    element("span", { className: "row" }, link("CSV", `/api/sessions/${id}/export.csv`, { download: "", attr: { "aria-label": text.fileOf("CSV", when) } }),
      link("JSON", `/api/sessions/${id}/export.json`, { download: "", attr: { "aria-label": text.fileOf("JSON", when) } })),
    button(words.delete, async () => {
      if (await confirmed(words.session.deleteQuestion(when), words.session.delete) && await done(send("DELETE", `sessions/${id}`))) changed();
    }, { attr: { "aria-label": text.deleteOf(when) } })];
}

async function everything() {
  if (!(await confirmed(words.data.deleteAllQuestion, words.data.deleteAll))) return;
  if (await done(send("POST", "data/forget", { everything: true }))) changed();
}
