// The words of the page in the language chosen: one catalogue for each language, loaded once.

import { vocabulary } from "./vocabulary.js";

/** @typedef {typeof import("../words/en.js").default} Words */
/** @type {Record<string, () => Promise<{ default: Words }>>} */
const CATALOGUES = { en: () => import("../words/en.js"), de: () => import("../words/de.js") };

export const language = vocabulary.language in CATALOGUES ? vocabulary.language : "en";

/** For dates and numbers: the reader's own kind of the language, where the browser tells one. */
export const locale = navigator.languages.find((one) => one.split("-")[0] === language) ?? language;

/** @type {{ default: Words }} */
const catalogue = await /** @type {() => Promise<{ default: Words }>} */ (CATALOGUES[language])();
export const words = catalogue.default;

/**
 * Puts words into the elements of a page that name them: data-words for the text, data-words-label and -title for
 * these attributes. A name is a path into the catalogue; an unknown one throws.
 * @param {ParentNode} root
 */
export function fillWords(root) {
  document.documentElement.lang = language;
  for (const node of root.querySelectorAll("[data-words]")) node.textContent = named(node.getAttribute("data-words"));
  for (const node of root.querySelectorAll("[data-words-label]")) node.setAttribute("aria-label", named(node.getAttribute("data-words-label")));
  for (const node of root.querySelectorAll("[data-words-title]")) node.setAttribute("title", named(node.getAttribute("data-words-title")));
}

/**
 * @param {string | null} path
 * @returns {string}
 */
function named(path) {
  /** @type {unknown} */
  let found = words;
  for (const key of (path ?? "").split(".")) found = /** @type {Record<string, unknown>} */ (found)[key];
  if (typeof found !== "string") throw new Error(`the words of the page have no ${path}`);
  return found;
}
