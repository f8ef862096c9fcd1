// What somebody who was shown a session says of it: read in the player's own log, written where a bundle is opened.

import { send } from "../actions.js";
import { element } from "../dom.js";
import { dateAndTime, secondsOf, timeText } from "../format.js";
import { words } from "../language.js";
import { vocabulary } from "../vocabulary.js";
import { button, card, changed, confirmed, done, fail, field } from "./parts.js";

/** @import { Answer, Remark, SessionDocument } from "../api.d.ts" */

/**
 * The card of notes; null where there are none and none can be written.
 * @param {SessionDocument} document
 */
export function remarksCard({ session, remarks }) {
  const text = words.remarks;
  const writes = vocabulary.shared !== null;
  if (remarks.length === 0 && !writes) return null;
  const list = element("ul", { className: "labels", id: "remarks" }, ...remarks.map(row));
  if (remarks.length === 0) list.append(element("li", {}, text.none));
  const node = card(writes ? text.yours : text.title, list, writes ? form(session.id) : null);
  node.id = "remarks-card";
  return node;
}

/** @param {Remark} one */
function row(one) {
  const text = words.remarks;
  const about = [one.author, dateAndTime(one.written_at)].filter(Boolean).join(", ");
  const remove = async () => {
    if (await confirmed(text.deleteQuestion, words.delete) && await done(send("DELETE", `remarks/${one.id}`))) changed();
  };
  return element("li", {},
    element("span", { className: "label-time" }, one.time_s === null ? text.whole : timeText(one.time_s)),
    element("span", { className: "label-text remark-text" }, one.text, element("br"), element("span", { className: "small" }, about)),
    element("span", { className: "row remark-delete" }, button(words.delete, remove)));
}

/** @param {string} sessionId */
function form(sessionId) {
  const text = words.remarks;
  const note = element("textarea", { rows: 3, maxLength: 2000 });
  const time = element("input", { autocomplete: "off" });
  const add = button(text.add, async () => {
    const at = time.value.trim() === "" ? null : secondsOf(time.value);
    if (time.value.trim() !== "" && at === null) return fail(words.marks.timeExample);
    if (await done(send("POST", `sessions/${encodeURIComponent(sessionId)}/remarks`, { text: note.value, time_s: at }))) changed();
    return undefined;
  }, { id: "add-remark" });
  return element("div", { className: "remark-form" }, field(text.text, note), field(text.at, time), element("p", {}, add));
}

/**
 * @param {string} text
 * @returns {unknown}
 */
function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** The card of the data page in which notes come back. */
export function notesCard() {
  const text = words.remarks;
  const said = element("p", { attr: { role: "status" } });
  const chosen = element("input", { type: "file", accept: ".json,application/json", id: "notes-file", attr: { "aria-label": text.choose } });
  chosen.addEventListener("change", async () => {
    const file = chosen.files?.[0];
    chosen.value = "";
    if (!file) return;
    const document = parsed(await file.text());
    if (document === null) fail(text.noNotes(file.name));
    else {
      /** @type {Answer<{ added: number, known: number, strange: number }>} */
      const { body, error } = await send("POST", "remarks", document);
      if (body) said.textContent = text.taken(body.added, body.known, body.strange);
      else if (error) fail(error);
    }
  });
  return card(text.title, element("p", {}, text.come), element("p", {}, chosen), said);
}
