// Discomfort checks that were given, with the advice that followed.

import { element } from "../dom.js";
import { send } from "../actions.js";
import { button, changed, confirmed, dateAndTime, done } from "./parts.js";

export function checkList(checks) {
  return element("ul", { className: "checks" }, ...checks.map((check) => {
    const where = [...check.places, ...check.signs].join(", ");
    const remove = async () => {
      if (await confirmed("Delete this check for good?", "Delete check") && await done(send("DELETE", `checks/${check.id}`))) changed();
    };
    return element("li", {}, element("p", {}, element("b", {}, `${check.rating} of 10 ${check.moment} playing`),
      ` · ${dateAndTime(check.checked_at)}${where ? ` · ${where}` : ""}${check.note ? ` · ${check.note}` : ""} `,
      button("Delete", remove)), adviceNode(check.advice));
  }));
}

/** The advice in its own words, with what it rests on. */
export function adviceNode(advice) {
  if (advice.sentences.length === 0) return null;
  return element("div", { className: "advice", attr: { "data-level": advice.level } },
    ...advice.sentences.map((one) => element("p", {}, one)),
    element("details", {}, element("summary", {}, "What this rests on"), element("ul", {}, ...advice.sources.map((one) => element("li", {}, one)))));
}
