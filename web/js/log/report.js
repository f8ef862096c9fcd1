// A report of a session for a teacher or a clinician: what it is to be, and the file.

import { element } from "../dom.js";
import { words } from "../language.js";
import { button, fail, field } from "./parts.js";

/** Where the player's name waits for the next report. It leaves this browser in reports alone. */
const NAME = "posturewatch report name";

/** By what is chosen: the file's kind and what else the address says. @type {Record<string, readonly [string, Record<string, string>]>} */
const KINDS = { a4: ["pdf", { paper: "a4" }], letter: ["pdf", { paper: "letter" }], html: ["html", {}], clips: ["html", { clips: "true" }], bundle: ["zip", {}] };

/**
 * Asks what the report is to be, and saves it.
 * @param {string} sessionId
 */
export function askForReport(sessionId) {
  const text = words.report;
  const name = element("input", { type: "text", maxLength: 80, value: localStorage.getItem(NAME) ?? "", autocomplete: "off" });
  const kind = element("select", {}, ...Object.keys(KINDS).map((one) => element("option", { value: one }, text.kinds[one] ?? one)));
  const weeks = element("select", {}, ...[0, 4, 12].map((one) => element("option", { value: String(one) }, text.about(one))));
  const working = element("p", { className: "small", attr: { role: "status" } });
  const dialog = element("dialog", { className: "ask", attr: { "aria-label": text.title } });
  const left = new AbortController();
  const save = button(text.save, async () => {
    localStorage.setItem(NAME, name.value.trim());
    save.disabled = true;
    working.textContent = text.working;
    const [ending, more] = KINDS[kind.value] ?? KINDS["a4"] ?? ["pdf", {}];
    const asked = new URLSearchParams({ who: name.value.trim(), weeks: weeks.value, ...more });
    const [route, file] = ending === "zip" ? ["bundle", "practice"] : ["report", "posture-report"];
    const sentence = await saved(`/api/sessions/${encodeURIComponent(sessionId)}/${route}.${ending}?${asked}`, `${file}-${sessionId}.${ending}`, left.signal);
    dialog.close();
    if (sentence) fail(sentence);
  });
  dialog.append(element("h2", {}, text.title), field(text.name, name), field(text.kind, kind), field(text.of, weeks),
    element("p", { className: "small" }, text.shows), working,
    element("div", { className: "row" }, button(text.cancel, () => dialog.close()), save));
  // It is of the page it was opened on, and whoever leaves it wants none.
  const close = () => dialog.close();
  window.addEventListener("hashchange", close);
  dialog.addEventListener("close", () => {
    left.abort();
    window.removeEventListener("hashchange", close);
    dialog.remove();
  });
  document.body.append(dialog);
  dialog.showModal();
}

/**
 * Fetches a file and hands it to the browser to keep; what went wrong in words, or null.
 * @param {string} address
 * @param {string} fileName
 * @param {AbortSignal} left
 */
async function saved(address, fileName, left) {
  try {
    const answer = await fetch(address, { signal: left });
    if (!answer.ok) return /** @type {{ error: string }} */ (await answer.json()).error;
    const file = URL.createObjectURL(await answer.blob());
    const link = element("a", { href: file, download: fileName });
    link.click();
    setTimeout(() => URL.revokeObjectURL(file), 60_000);
    return null;
  } catch {
    return left.aborted ? null : words.faults.unreachable;
  }
}
