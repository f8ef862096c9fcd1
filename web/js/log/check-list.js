// Discomfort checks that were given, with the advice that followed.

import { send } from "../actions.js";
import { element } from "../dom.js";
import { dateAndTime } from "../format.js";
import { words } from "../language.js";
import { translated } from "../translated.js";
import { button, changed, confirmed, done } from "./parts.js";

/** @import { Advice, Check } from "../api.d.ts" */

/** @param {readonly Check[]} checks */
export function checkList(checks) {
  return element("ul", { className: "checks" }, ...checks.map((check) => {
    const where = [...check.places.map(placeName), ...check.signs.map((sign) => words.terms.signs[sign] ?? sign)].join(", ");
    const remove = async () => {
      if (await confirmed(words.check.deleteQuestion, words.check.deleteYes) && await done(send("DELETE", `checks/${check.id}`))) changed();
    };
    return element("li", {}, element("p", {}, element("b", {}, words.check.rated(check.rating, check.moment)),
      ` · ${dateAndTime(check.checked_at)}${where ? ` · ${where}` : ""}${check.note ? ` · ${check.note}` : ""} `,
      button(words.delete, remove)), adviceNode(check.advice));
  }));
}

/**
 * "left palm side of the wrist", as checks keep it, in the language of the page.
 * @param {string} name
 */
export function placeName(name) {
  const [side = "", ...place] = name.split(" ");
  const label = words.terms.places[place.join(" ")];
  return label && (side === "left" || side === "right") ? words.sided(side, label) : name;
}

/**
 * The advice in its own words, with what it rests on.
 * @param {Advice} advice
 */
export function adviceNode(advice) {
  if (advice.sentences.length === 0) return null;
  return element("div", { className: "advice", attr: { "data-level": advice.level } },
    ...advice.sentences.map((one) => element("p", {}, translated(one))),
    element("details", {}, element("summary", {}, words.check.basis), element("ul", {}, ...advice.sources.map((one) => element("li", {}, translated(one))))));
}
