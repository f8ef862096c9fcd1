// Passages and marks of a session, changed afterwards.

import { send } from "../actions.js";
import { element } from "../dom.js";
import { passageName, secondsOf, timeText } from "../format.js";
import { words } from "../language.js";
import { once } from "../once.js";
import { pieceInput } from "../pieces-input.js";
import { button, card, changed, confirmed, done, fail, field } from "./parts.js";

/** @import { Answer, KeptPassage, KeptSession, Mark, SessionDocument } from "../api.d.ts" */

/**
 * @param {HTMLElement} node
 */
const focusFirst = (node) => node.querySelector("input")?.focus();

/** @param {SessionDocument} document */
export function passagesCard({ session, passages }) {
  const text = words.playing;
  const list = element("ul", { className: "labels", id: "passages" });
  for (const passage of passages) list.append(passageRow(session, passage));
  if (passages.length === 0) list.append(element("li", {}, text.noPassages));
  const add = button(text.addPassage, () => {
    add.hidden = true;
    const item = element("li", {}, passageForm(session, { piece: "", bars: "", tempo_bpm: null, start_s: 0, end_s: session.duration_s },
      (values) => send("POST", `sessions/${encodeURIComponent(session.id)}/passages`, values), () => changed()));
    list.append(item);
    focusFirst(item);
  }, { id: "add-passage" });
  return card(text.passages, list, element("p", { className: "no-print" }, add));
}

/**
 * @param {KeptSession} session
 * @param {KeptPassage} passage
 */
function passageRow(session, passage) {
  const item = element("li", {});
  const show = () => item.replaceChildren(
    element("span", { className: "label-time" }, `${timeText(passage.start_s)} – ${passage.end_s === null ? words.playing.now : timeText(passage.end_s)}`),
    element("span", { className: "label-text" }, passageName(passage)),
    element("span", { className: "row no-print" }, button(words.change, edit), button(words.delete, async () => {
      if (await confirmed(words.playing.deleteQuestion(passageName(passage)), words.playing.deleteYes)
        && await done(send("DELETE", `passages/${passage.id}`))) changed();
    })));
  const edit = () => {
    item.replaceChildren(passageForm(session, passage, (values) => send("PATCH", `passages/${passage.id}`, values), show));
    focusFirst(item);
  };
  show();
  return item;
}

/** @typedef {Pick<KeptPassage, "piece" | "bars" | "tempo_bpm" | "start_s" | "end_s">} PassageValues */

/**
 * @param {KeptSession} session
 * @param {PassageValues} passage
 * @param {(values: PassageValues) => Promise<Answer<unknown>>} save
 * @param {() => void} cancel
 */
function passageForm(session, passage, save, cancel) {
  const text = words.playing;
  const piece = pieceInput(passage.piece);
  const bars = element("input", { value: passage.bars, maxLength: 200, placeholder: text.barsExample, className: "bars-input" });
  const tempo = element("input", { value: String(passage.tempo_bpm ?? ""), inputMode: "decimal", placeholder: text.noTempo });
  const start = element("input", { value: timeText(passage.start_s) });
  const end = element("input", { value: timeText(passage.end_s ?? session.duration_s) });
  return form([field(text.piece, piece.node), field(text.passage, bars), field(text.tempo, tempo), field(text.from, start), field(text.to, end)], async () => {
    const [from, to] = [secondsOf(start.value), secondsOf(end.value)];
    if (from === null || to === null) {
      fail(text.timesExample);
      return;
    }
    const values = { piece: piece.value, bars: bars.value, tempo_bpm: tempo.value.trim() ? Number(tempo.value.replace(",", ".")) : null,
      start_s: from, end_s: Math.min(to, session.duration_s) };
    if (await done(save(values))) changed();
  }, cancel);
}

/** @param {SessionDocument} document */
export function marksCard({ session, marks }) {
  const text = words.marks;
  const list = element("ul", { className: "labels", id: "marks" });
  for (const mark of marks) list.append(markRow(mark));
  if (marks.length === 0) list.append(element("li", {}, text.none));
  const add = button(text.add, () => {
    add.hidden = true;
    const item = element("li", {}, markForm({ time_s: 0, note: "" },
      (values) => send("POST", `sessions/${encodeURIComponent(session.id)}/marks`, values), () => changed()));
    list.append(item);
    focusFirst(item);
  }, { id: "add-mark" });
  return card(text.title, list, element("p", { className: "no-print" }, add));
}

/** @param {Mark} mark */
function markRow(mark) {
  const text = words.marks;
  const item = element("li", {});
  const show = () => item.replaceChildren(element("span", { className: "label-time" }, timeText(mark.time_s)),
    element("span", { className: "label-text" }, mark.note || text.noNote),
    element("span", { className: "row no-print" }, button(words.change, () => {
      item.replaceChildren(markForm(mark, (values) => send("PATCH", `marks/${mark.id}`, values), show));
      focusFirst(item);
    }), button(words.delete, async () => {
      if (await confirmed(text.deleteQuestion(timeText(mark.time_s)), text.deleteYes) && await done(send("DELETE", `marks/${mark.id}`))) changed();
    })));
  show();
  return item;
}

/** @typedef {Pick<Mark, "time_s" | "note">} MarkValues */

/**
 * @param {MarkValues} mark
 * @param {(values: MarkValues) => Promise<Answer<unknown>>} save
 * @param {() => void} cancel
 */
function markForm(mark, save, cancel) {
  const time = element("input", { value: timeText(mark.time_s) });
  const note = element("input", { value: mark.note, maxLength: 200, className: "note-input" });
  return form([field(words.marks.at, time), field(words.note, note)], async () => {
    const at = secondsOf(time.value);
    if (at === null) fail(words.marks.timeExample);
    else if (await done(save({ time_s: at, note: note.value }))) changed();
  }, cancel);
}

/**
 * A small form: Enter saves, Escape leaves it.
 * @param {readonly Node[]} fields
 * @param {() => Promise<void>} save
 * @param {() => void} cancel
 */
function form(fields, save, cancel) {
  const kept = once(save);
  const node = element("div", { className: "label-form" }, ...fields,
    element("p", { className: "row" }, button(words.save, kept, { className: "main" }), button(words.cancel, cancel)));
  node.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target instanceof HTMLInputElement) {
      event.preventDefault();
      kept();
    } else if (event.key === "Escape") cancel();
  });
  return node;
}
