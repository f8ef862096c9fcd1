// "Know before it hurts": a short card per kind of finding.

import { element } from "../dom.js";
import { card, head } from "./parts.js";
import { CARDS, STOP } from "./know-text.js";

const MARKS = { F: "seen in an abstract, table or secondary copy of the source", M: "from memory, not seen", D: "derived here" };

export async function knowPage([which = ""]) {
  const cards = CARDS.map((one) => {
    const node = card(one.title,
      element("h3", {}, "What is measured"), element("p", {}, one.measured),
      element("h3", {}, "Why it matters"), element("ul", {}, ...one.why.map((why) => element("li", {}, `${why.text} `,
        element("span", { className: "small" }, `(${why.source}; ${MARKS[why.mark]})`)))),
      element("h3", {}, "What players and teachers commonly try"), element("ul", {}, ...one.tried.map((text) => element("li", {}, text))),
      element("p", { className: "small" }, "Common practice, without a source: try one thing at a time, and keep what helps you."),
      element("h3", {}, "When to stop, and whom to ask"), element("p", {}, STOP[0]),
      element("details", {}, element("summary", {}, "Signs to take to a clinician, and whom to ask"),
        element("ul", {}, ...STOP.slice(1).map((text) => element("li", {}, text)))));
    node.id = `know-${one.id}`;
    return node;
  });
  return {
    title: "Know before it hurts",
    nodes: [head("Know before it hurts", element("p", {}, "What each finding means, how well that is known, and what can be tried.")),
      element("div", { className: "summary-columns" }, ...cards)],
    shown() {
      const chosen = cards.find((one) => one.id === `know-${which}`);
      if (!chosen) return;
      chosen.classList.add("chosen");
      requestAnimationFrame(() => chosen.scrollIntoView({ block: "start" }));
    },
  };
}
