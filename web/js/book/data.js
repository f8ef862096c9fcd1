// The player's own data: where they lie, how large they are, and how they go away.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { duration } from "../words.js";
import { button, bytes, card, changed, confirmed, dateAndTime, done, faultPage, head, link, table } from "./parts.js";

export async function dataPage() {
  const { body, error } = await get("data");
  if (error) return faultPage("Your data", error);
  const rows = [["Measured numbers, passages, marks, notes", bytes(body.database_bytes)], ["Clips", bytes(body.clips_bytes)]];
  if (body.set_aside_bytes > 0) rows.push(["Damaged files set aside", bytes(body.set_aside_bytes)]);
  if (body.other_bytes > 0) rows.push(["Other files there", bytes(body.other_bytes)]);
  rows.push(["Together", bytes(body.total_bytes)]);
  return {
    title: "Your data",
    nodes: [
      head("Your data", element("p", {}, "Everything lies in one folder of this machine, and nothing leaves it:"),
        element("p", {}, element("code", { className: "path" }, body.folder))),
      card("How large", table("Sizes", ["What", "Size"], rows)),
      card("Sessions", body.sessions.length === 0 ? element("p", {}, "None.")
        : table("Sessions with their sizes", ["Session", "Length", "Numbers", "Clips", "Save", "Delete"], body.sessions.map(row), "wide")),
      card("Delete everything", element("p", {}, "All sessions, clips, pieces, lists and checks. Your settings stay."),
        element("p", {}, button("Delete everything", everything, { className: "danger", id: "forget" }))),
    ],
  };
}

function row(one) {
  const id = encodeURIComponent(one.id);
  const when = dateAndTime(one.started_at);
  return [link(when, `#/session/${id}`), one.duration_s === null ? "running" : duration(one.duration_s), bytes(one.samples_bytes),
    one.clips > 0 ? `${one.clips}, ${bytes(one.clips_bytes)}` : "none",
    element("span", { className: "row" }, link("CSV", `/api/sessions/${id}/export.csv`, { download: "", attr: { "aria-label": `CSV of ${when}` } }),
      link("JSON", `/api/sessions/${id}/export.json`, { download: "", attr: { "aria-label": `JSON of ${when}` } })),
    button("Delete", async () => {
      if (await confirmed(`Delete the session of ${when} for good, with its clips?`, "Delete session")
        && await done(send("DELETE", `sessions/${id}`))) changed();
    }, { attr: { "aria-label": `Delete the session of ${when}` } })];
}

async function everything() {
  if (!(await confirmed("Delete all sessions, clips, pieces, lists and checks for good? This cannot be undone.", "Delete everything"))) return;
  if (await done(send("POST", "data/forget", { everything: true }))) changed();
}
