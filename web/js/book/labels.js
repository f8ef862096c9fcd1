// Passages and marks of a session, changed afterwards.

import { send } from "../actions.js";
import { element } from "../dom.js";
import { pieceInput } from "../pieces-input.js";
import { button, card, changed, confirmed, done, fail, field, passageName, secondsOf, timeText } from "./parts.js";

export function passagesCard({ session, passages }) {
  const list = element("ul", { className: "labels", id: "passages" });
  for (const passage of passages) list.append(passageRow(session, passage));
  if (passages.length === 0) list.append(element("li", {}, "No passages."));
  const add = button("Add a passage", () => {
    add.hidden = true;
    list.append(element("li", {}, passageForm(session, { piece: "", bars: "", tempo_bpm: null, start_s: 0, end_s: session.duration_s },
      (values) => send("POST", `sessions/${encodeURIComponent(session.id)}/passages`, values), () => changed())));
    list.lastElementChild.querySelector("input").focus();
  }, { id: "add-passage" });
  return card("Passages", list, element("p", { className: "no-print" }, add));
}

function passageRow(session, passage) {
  const item = element("li", {});
  const show = () => item.replaceChildren(
    element("span", { className: "label-time" }, `${timeText(passage.start_s)} – ${passage.end_s === null ? "now" : timeText(passage.end_s)}`),
    element("span", { className: "label-text" }, passageName(passage)),
    element("span", { className: "row no-print" }, button("Change", edit), button("Delete", async () => {
      if (await confirmed(`Delete the passage ${passageName(passage)}? What was measured stays.`, "Delete passage")
        && await done(send("DELETE", `passages/${passage.id}`))) changed();
    })));
  const edit = () => {
    item.replaceChildren(passageForm(session, passage, (values) => send("PATCH", `passages/${passage.id}`, values), show));
    item.querySelector("input").focus();
  };
  show();
  return item;
}

function passageForm(session, passage, save, cancel) {
  const piece = pieceInput(passage.piece ?? "");
  const bars = element("input", { value: passage.bars, maxLength: 200, placeholder: "bars 12-16" });
  const tempo = element("input", { value: passage.tempo_bpm ?? "", inputMode: "decimal", placeholder: "without" });
  const start = element("input", { value: timeText(passage.start_s) });
  const end = element("input", { value: timeText(passage.end_s ?? session.duration_s) });
  return form([field("Piece", piece.node), field("Passage", bars), field("Tempo (bpm)", tempo), field("From", start), field("To", end)], async () => {
    const times = [secondsOf(start.value), secondsOf(end.value)];
    if (times.includes(null)) return fail("Write times as minutes and seconds, such as 3:07.5.");
    const values = { piece: piece.value, bars: bars.value, tempo_bpm: tempo.value.trim() ? Number(tempo.value.replace(",", ".")) : null,
      start_s: times[0], end_s: Math.min(times[1], session.duration_s) };
    if (await done(save(values))) changed();
  }, cancel);
}

export function marksCard({ session, marks }) {
  const list = element("ul", { className: "labels", id: "marks" });
  for (const mark of marks) list.append(markRow(mark));
  if (marks.length === 0) list.append(element("li", {}, "No marks."));
  const add = button("Add a mark", () => {
    add.hidden = true;
    list.append(element("li", {}, markForm({ time_s: 0, note: "" },
      (values) => send("POST", `sessions/${encodeURIComponent(session.id)}/marks`, values), () => changed())));
    list.lastElementChild.querySelector("input").focus();
  }, { id: "add-mark" });
  return card("Marks", list, element("p", { className: "no-print" }, add));
}

function markRow(mark) {
  const item = element("li", {});
  const show = () => item.replaceChildren(element("span", { className: "label-time" }, timeText(mark.time_s)),
    element("span", { className: "label-text" }, mark.note || "without a note"),
    element("span", { className: "row no-print" }, button("Change", () => {
      item.replaceChildren(markForm(mark, (values) => send("PATCH", `marks/${mark.id}`, values), show));
      item.querySelector("input").focus();
    }), button("Delete", async () => {
      if (await confirmed(`Delete the mark at ${timeText(mark.time_s)}?`, "Delete mark") && await done(send("DELETE", `marks/${mark.id}`))) changed();
    })));
  show();
  return item;
}

function markForm(mark, save, cancel) {
  const time = element("input", { value: timeText(mark.time_s) });
  const note = element("input", { value: mark.note, maxLength: 200 });
  return form([field("At", time), field("Note", note)], async () => {
    const at = secondsOf(time.value);
    if (at === null) return fail("Write the time as minutes and seconds, such as 3:07.5.");
    if (await done(save({ time_s: at, note: note.value }))) changed();
  }, cancel);
}

/** A small form: Enter saves, Escape leaves it. */
function form(fields, save, cancel) {
  const node = element("div", { className: "label-form" }, ...fields,
    element("p", { className: "row" }, button("Save", save, { className: "main" }), button("Cancel", cancel)));
  node.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target instanceof HTMLInputElement) {
      event.preventDefault();
      save();
    } else if (event.key === "Escape") cancel();
  });
  return node;
}
