// What each finding means: a short card per direction, with how well it is known and what can be tried.

import { element } from "../dom.js";
import { words } from "../language.js";
import { card, head } from "./parts.js";

/** @import { Page } from "../api.d.ts" */

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function guidePage([which = ""]) {
  const text = words.guide;
  const cards = text.cards.map((one) => {
    const node = card(one.title,
      element("h3", {}, text.measured), element("p", {}, one.measured),
      element("h3", {}, text.why), element("ul", {}, ...one.why.map((why) => element("li", {}, `${why.text} `,
        element("span", { className: "small" }, `(${why.source}; ${text.marks[why.mark]})`)))),
      element("h3", {}, text.tried), element("ul", {}, ...one.tried.map((line) => element("li", {}, line))),
      element("p", { className: "small" }, text.practice),
      element("h3", {}, text.stop), element("p", {}, text.stopFirst),
      element("details", {}, element("summary", {}, text.stopMore), element("ul", {}, ...text.stopRest.map((line) => element("li", {}, line)))));
    node.id = `guide-${one.id}`;
    return node;
  });
  return {
    title: text.title,
    nodes: [head(text.title, element("p", {}, text.about)), element("div", { className: "summary-columns" }, ...cards)],
    shown() {
      const chosen = cards.find((one) => one.id === `guide-${which}`);
      if (!chosen) return;
      chosen.classList.add("chosen");
      requestAnimationFrame(() => chosen.scrollIntoView({ block: "start" }));
    },
  };
}
