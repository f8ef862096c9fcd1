// What the book's pages share: tables, buttons, questions, dates and sizes.

import { element } from "../dom.js";

let sayTurn = false;

/** Tells a screen reader; a trailing space makes the same words count as new. */
export function say(text) {
  sayTurn = !sayTurn;
  document.getElementById("say").textContent = sayTurn ? text : `${text}\u00a0`;
}

/** Shows what went wrong, in the words of the server. */
export function fail(sentence) {
  const banner = document.getElementById("banner");
  banner.textContent = sentence;
  banner.hidden = false;
}

export function changed() {
  window.dispatchEvent(new Event("book-changed"));
}

/** Does a request; true where it worked, else what went wrong is shown. */
export async function done(request) {
  const { error } = await request;
  if (error) fail(error);
  return !error;
}

/** A page that only says what went wrong. */
export function faultPage(title, sentence) {
  return { title, nodes: [element("h1", {}, title), element("p", { className: "fault", attr: { role: "alert" } }, sentence)] };
}

export function head(title, ...below) {
  return element("header", { className: "page-head" }, element("h1", {}, title), ...below);
}

export function card(title, ...children) {
  return element("section", { className: "card" }, title === null ? null : element("h2", {}, title), ...children);
}

/** rows: lists of texts or nodes, the first of each its heading. */
export function table(caption, columns, rows, className = "") {
  return element("div", { className: "table-frame" }, element("table", { className },
    element("caption", { className: "spoken" }, caption),
    element("thead", {}, element("tr", {}, ...columns.map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows.map(([first, ...rest]) => element("tr", {},
      element("th", { scope: "row" }, first),
      // On a narrow screen rows become blocks, and each cell says which column it is of.
      ...rest.map((one, i) => element("td", { attr: { "data-column": columns[i + 1] } }, one)))))));
}

export function button(label, onclick, { className = "", ...more } = {}) {
  return element("button", { type: "button", className: `small-button ${className}`.trim(), onclick, ...more }, label);
}

export function link(text, href, more = {}) {
  return element("a", { href, ...more }, text);
}

let nextId = 0;

export function field(label, input) {
  input.id ||= `field-${(nextId += 1)}`;
  return element("p", { className: "field" }, element("label", { htmlFor: input.id }, label), input);
}

/** Asks before something is deleted for good; the answer is a promise of true or false. */
export function confirmed(question, yes) {
  return new Promise((answer) => {
    const dialog = element("dialog", { className: "ask", attr: { "aria-label": question } });
    dialog.append(element("p", {}, question), element("div", { className: "row" },
      button("Keep it", () => dialog.close("no")),
      button(yes, () => dialog.close("yes"), { className: "danger" })));
    dialog.addEventListener("close", () => {
      dialog.remove();
      answer(dialog.returnValue === "yes");
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}

export function date(iso) {
  return new Date(iso).toLocaleDateString(undefined, { weekday: "short", day: "numeric", month: "short", year: "numeric" });
}

export function dateAndTime(iso) {
  return `${date(iso)}, ${new Date(iso).toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit" })}`;
}

export function bytes(count) {
  const units = ["bytes", "kB", "MB", "GB"];
  let size = count;
  let place = 0;
  while (size >= 1000 && place < units.length - 1) {
    size /= 1000;
    place += 1;
  }
  return `${place === 0 || size >= 100 ? Math.round(size) : size.toFixed(1)}\u00a0${units[place]}`;
}

/** "Nocturne sketch, bars 12-16" or "nothing in particular". */
export function passageName(passage) {
  if (!passage?.piece) return "nothing in particular";
  const tempo = passage.tempo_bpm ? `, ${Math.round(passage.tempo_bpm)} bpm` : "";
  return `${passage.piece}${passage.bars ? `, ${passage.bars}` : ""}${tempo}`;
}

/** "3:07.5" to seconds; null for what is no time. */
export function secondsOf(text) {
  const parts = text.trim().split(":");
  if (parts.length > 3 || !parts.every((part) => /^\d+([.,]\d+)?$/.test(part))) return null;
  return parts.reduce((sum, part) => 60 * sum + Number(part.replace(",", ".")), 0);
}

/** Seconds as "3:07.5", to be edited. */
export function timeText(seconds) {
  const tenths = Math.round(seconds * 10);
  const minutes = Math.floor(tenths / 600);
  const rest = (tenths % 600) / 10;
  return `${minutes}:${rest < 10 ? "0" : ""}${Number.isInteger(rest) ? rest : rest.toFixed(1)}`;
}
