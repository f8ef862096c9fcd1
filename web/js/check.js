// The discomfort check before or after playing: a rating, places, warning signs, and the advice in its own words.

import { get, send } from "./actions.js";
import { adviceNode } from "./book/check-list.js";
import { element, setText } from "./dom.js";
import { outlines } from "./outline.js";

/** sessionId: of the session that has just ended, or null; fail: shows what went wrong. */
export async function openCheck({ sessionId, fail }) {
  const { body: form, error } = await get("checks/form");
  if (error) return fail(error);
  const sheet = element("dialog", { className: "sheet", id: "check-sheet", attr: { "aria-label": "How does it feel?" } });
  sheet.addEventListener("close", () => sheet.remove());
  const chosen = new Set();
  const where = element("p", { className: "small" }, "Nothing chosen.");
  const moments = sessionId === null ? null : element("p", { className: "moments sheet-row" },
    radio("moment", "after", "after playing", true), radio("moment", "before", "before playing again", false));
  const fault = element("p", { attr: { role: "alert" } });
  const note = element("input", { maxLength: 200 });
  const ratings = element("fieldset", { className: "ratings" }, element("legend", { className: "spoken" }, form.scale.label),
    ...Array.from({ length: form.scale.highest - form.scale.lowest + 1 }, (_, i) => radio("rating", String(form.scale.lowest + i), String(form.scale.lowest + i), false)));
  const submit = async () => {
    const rating = sheet.querySelector("[name=rating]:checked")?.value;
    if (rating === undefined) return setText(fault, "Choose a number from 0 to 10.");
    const moment = sheet.querySelector("[name=moment]:checked")?.value ?? "before";
    const signs = [...sheet.querySelectorAll("[name=sign]:checked")].map((one) => one.value);
    const { body, error: refused } = await send("POST", "checks", { moment, rating: Number(rating), places: [...chosen], signs, note: note.value,
      ...(moment === "after" ? { session_id: sessionId } : {}) });
    if (refused) return setText(fault, refused);
    answer(sheet, body);
  };
  sheet.append(element("h2", {}, "How does it feel?"), moments ?? "", element("p", {}, form.scale.label), ratings,
    element("h3", {}, "Where? Tap the place"), outlines(form.sides, form.places, chosen, () => setText(where, chosen.size ? [...chosen].join(", ") : "Nothing chosen.")), where,
    element("h3", {}, "Is any of these there?"),
    element("div", { className: "signs" }, ...form.signs.map((one) => element("label", {},
      element("input", { type: "checkbox", name: "sign", value: one.name }), one.label))),
    element("label", {}, element("h3", {}, "Note"), note), fault,
    element("p", { className: "sheet-row" }, press("Keep this", submit, "main"), press("Leave it", () => sheet.close())));
  document.body.append(sheet);
  sheet.showModal();
}

function answer(sheet, check) {
  const done = press("Done", () => sheet.close(), "main");
  sheet.replaceChildren(element("h2", { tabIndex: -1 }, `Kept: ${check.rating} of 10 ${check.moment} playing`),
    adviceNode(check.advice) ?? element("p", {}, "Nothing to be careful about follows from that."), element("p", { className: "sheet-row" }, done));
  done.focus();
}

function radio(name, value, label, checked) {
  return element("label", {}, element("input", { type: "radio", name, value, checked }), label);
}

function press(label, onclick, more = "") {
  return element("button", { type: "button", className: `bar-button ${more}`.trim(), onclick }, label);
}
