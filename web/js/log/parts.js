// What the pages of the practice log share: tables, buttons, questions.

import { byId, element } from "../dom.js";
import { words } from "../language.js";
import { once } from "../once.js";

/** @import { Answer, Page } from "../api.d.ts" */
/** @import { Child } from "../dom.js" */

let sayTurn = false;

/**
 * Tells a screen reader; a trailing space makes the same words count as new.
 * @param {string} text
 */
export function say(text) {
  sayTurn = !sayTurn;
  byId("say", HTMLElement).textContent = sayTurn ? text : `${text}\u00a0`;
}

/**
 * Shows what went wrong, in the words of the server.
 * @param {string} sentence
 */
export function fail(sentence) {
  const banner = byId("banner", HTMLElement);
  banner.textContent = sentence;
  banner.hidden = false;
}

export function changed() {
  window.dispatchEvent(new Event("log-changed"));
}

/**
 * Waits for a request; true where it worked, else what went wrong is shown.
 * @param {Promise<Answer<unknown>>} request
 */
export async function done(request) {
  const { error } = await request;
  if (error) fail(error);
  return !error;
}

/**
 * A page that only says what went wrong.
 * @param {string} title
 * @param {string | null} sentence
 * @returns {Page}
 */
export function faultPage(title, sentence) {
  return { title, nodes: [element("h1", {}, title), element("p", { className: "fault", attr: { role: "alert" } }, sentence)] };
}

/**
 * @param {string} title
 * @param {...Child} below
 */
export function head(title, ...below) {
  return element("header", { className: "page-head" }, element("h1", {}, title), ...below);
}

/**
 * @param {string | null} title
 * @param {...Child} children
 */
export function card(title, ...children) {
  return element("section", { className: "card" }, title === null ? null : element("h2", {}, title), ...children);
}

/** Folds that were opened, by title: they stay so while the page is shown anew. @type {Set<string>} */
const opened = new Set();

/**
 * A card behind its title.
 * @param {string} title
 * @param {...Child} children
 */
export function fold(title, ...children) {
  const node = element("details", { className: "card", open: opened.has(title) }, element("summary", {}, title), ...children);
  node.addEventListener("toggle", () => {
    if (node.open) opened.add(title);
    else opened.delete(title);
  });
  return node;
}

// On paper nothing is folded.
/** @type {HTMLDetailsElement[]} */
let unfolded = [];
window.addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("details")].filter((one) => !one.open);
  for (const one of unfolded) one.open = true;
});
window.addEventListener("afterprint", () => {
  for (const one of unfolded) one.open = false;
});

/**
 * A name that somebody typed in: one line, with an ellipsis where there is no room.
 * @param {string} text
 * @param {string} [href]
 */
export const named = (text, href) => (href === undefined ? element("span", { className: "long-name", title: text }, text)
  : element("a", { className: "long-name", title: text, href }, text));

/** What says that there is nothing to tell. */
const NOTHING = ["–", "0"];

/**
 * rows: lists of texts or nodes, the first of each its heading.
 * @param {string} caption
 * @param {readonly string[]} columns
 * @param {readonly (readonly (string | Node)[])[]} rows
 * @param {string} [className]
 */
export function table(caption, columns, rows, className = "") {
  return element("div", { className: "table-frame" }, element("table", { className },
    element("caption", { className: "spoken" }, caption),
    element("thead", {}, element("tr", {}, ...columns.map((text) => element("th", { scope: "col" }, text)))),
    element("tbody", {}, ...rows.map(([first, ...rest]) => element("tr", {},
      element("th", { scope: "row" }, first),
      // On a narrow screen rows become blocks, and each cell says which column it is of.
      ...rest.map((one, i) => element("td", { attr: { "data-column": columns[i + 1] ?? "", ...(NOTHING.includes(String(one)) ? { "data-nothing": "" } : {}) } }, one)))))));
}

/**
 * What a click begins is not begun again while it is under way.
 * @param {string} label
 * @param {(event: Event) => unknown} onclick
 * @param {Partial<HTMLButtonElement> & { attr?: Record<string, string> }} [options]
 */
export function button(label, onclick, { className = "", ...more } = {}) {
  return element("button", { type: "button", className: `small-button ${className}`.trim(), onclick: once(onclick), ...more }, label);
}

/**
 * @param {string} text
 * @param {string} href
 * @param {Partial<HTMLAnchorElement> & { attr?: Record<string, string> }} [more]
 * @param {...Child} rest
 */
export function link(text, href, more = {}, ...rest) {
  return element("a", { href, ...more }, text, ...rest);
}

let nextId = 0;

/**
 * @param {string} label
 * @param {HTMLElement} input
 */
export function field(label, input) {
  input.id ||= `field-${(nextId += 1)}`;
  return element("p", { className: "field" }, element("label", { htmlFor: input.id }, label), input);
}

/**
 * Asks before something is deleted for good.
 * @param {string} question
 * @param {string} yes
 * @returns {Promise<boolean>}
 */
export function confirmed(question, yes) {
  return new Promise((answer) => {
    const dialog = element("dialog", { className: "ask", attr: { "aria-label": question } });
    dialog.append(element("p", {}, question), element("div", { className: "row" },
      button(words.keepIt, () => dialog.close("no")),
      button(yes, () => dialog.close("yes"), { className: "danger" })));
    dialog.addEventListener("close", () => {
      dialog.remove();
      answer(dialog.returnValue === "yes");
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}
