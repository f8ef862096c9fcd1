// The discomfort check before or after playing: a rating, places, warning signs, and the advice in its own words.

import { get, send } from "./actions.js";
import { element, setText } from "./dom.js";
import { words } from "./language.js";
import { adviceNode, placeName } from "./log/check-list.js";
import { once } from "./once.js";
import { outlines } from "./outline.js";

/** @import { Answer, Check, CheckForm } from "./api.d.ts" */

/**
 * sessionId: of the session that has just ended, or null; fail: shows what went wrong. moment: of that session, where it
 * is known; onKept: told once the check is kept.
 * @param {{ sessionId: string | null, fail: (sentence: string) => void, moment?: "before" | "after", onKept?: () => void }} options
 */
export async function openCheck({ sessionId, fail, moment: known, onKept = () => {} }) {
  const text = words.check;
  /** @type {Answer<CheckForm>} */
  const { body: form, error } = await get("checks/form");
  if (!form) return fail(error ?? "");
  const sheet = element("dialog", { className: "sheet", id: "check-sheet", attr: { "aria-label": text.title } });
  sheet.addEventListener("close", () => sheet.remove());
  /** @type {Set<string>} */
  const chosen = new Set();
  const where = element("p", { className: "small" }, text.nothingChosen);
  const moments = sessionId === null || known ? null : element("p", { className: "moments sheet-row" },
    radio("moment", "after", text.after, true), radio("moment", "before", text.beforeAgain, false));
  const fault = element("p", { attr: { role: "alert" } });
  const note = element("input", { maxLength: 200 });
  const { lowest, highest } = form.scale;
  const rate = text.scale(lowest, highest);
  const ratings = element("fieldset", { className: "ratings" }, element("legend", { className: "spoken" }, rate),
    ...Array.from({ length: highest - lowest + 1 }, (_, i) => radio("rating", String(lowest + i), String(lowest + i), false)));
  const picked = (/** @type {string} */ name) => sheet.querySelector(`[name=${name}]:checked`);
  const valueOf = (/** @type {Element | null} */ input) => (input instanceof HTMLInputElement ? input.value : undefined);
  const submit = async () => {
    const rating = valueOf(picked("rating"));
    if (rating === undefined) return setText(fault, text.chooseNumber(lowest, highest));
    const moment = known ?? valueOf(picked("moment")) ?? "before";
    const signs = [...sheet.querySelectorAll("[name=sign]:checked")].map(valueOf);
    /** @type {Answer<Check>} */
    const kept = await send("POST", "checks", { moment, rating: Number(rating), places: [...chosen], signs, note: note.value,
      ...(known || moment === "after" ? { session_id: sessionId } : {}) });
    if (!kept.body) return setText(fault, kept.error ?? "");
    onKept();
    return answer(sheet, kept.body);
  };
  sheet.append(element("h2", {}, text.title), moments ?? "", element("p", {}, rate), ratings,
    element("h3", {}, text.where), outlines(form.sides, form.places, chosen, () => setText(where, chosen.size ? [...chosen].map(placeName).join(", ") : text.nothingChosen)), where,
    element("h3", {}, text.symptoms),
    element("div", { className: "signs" }, ...form.signs.map((one) => element("label", {},
      element("input", { type: "checkbox", name: "sign", value: one.name }), words.terms.signs[one.name] ?? one.label))),
    element("label", {}, element("h3", {}, words.note), note), fault,
    element("p", { className: "sheet-row" }, press(text.keep, submit, "main"), press(words.cancel, () => sheet.close())));
  document.body.append(sheet);
  sheet.showModal();
  return undefined;
}

/**
 * @param {HTMLDialogElement} sheet
 * @param {Check} check
 */
function answer(sheet, check) {
  const done = press(words.check.done, () => sheet.close(), "main");
  sheet.replaceChildren(element("h2", { tabIndex: -1 }, words.check.kept(check.rating, check.moment)),
    adviceNode(check.advice) ?? element("p", {}, words.check.nothingFollows), element("p", { className: "sheet-row" }, done));
  done.focus();
}

/**
 * @param {string} name
 * @param {string} value
 * @param {string} label
 * @param {boolean} checked
 */
function radio(name, value, label, checked) {
  return element("label", {}, element("input", { type: "radio", name, value, checked }), label);
}

/**
 * @param {string} label
 * @param {() => unknown} onclick
 * @param {string} [more]
 */
function press(label, onclick, more = "") {
  return element("button", { type: "button", className: `bar-button ${more}`.trim(), onclick: once(onclick) }, label);
}
