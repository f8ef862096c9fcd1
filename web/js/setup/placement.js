// How well the view measures: a table of grades, and the one thing that would help, held still long enough to be read.

import { byId, element, setData, setText, within } from "../dom.js";
import { words } from "../language.js";
import { SIDES, labelOf } from "../terms.js";
import { placeDrawing } from "./drawing.js";
import { step } from "./parts.js";

/** @import { Side } from "../api.d.ts" */
/** @import { Choices, Graded, GradeWord, Instrument, Placement } from "./api.d.ts" */

/** An advice has to come so often in a row before it replaces another. */
const IN_A_ROW = 3;
/** @type {Record<GradeWord, string>} */
const DOTS = { well: "●●●", fairly: "●●○", poorly: "●○○", not: "○○○" };

export class PlacementStep {
  #body = element("div", {});
  #shown = "";
  #said = "";
  #next = "";
  #times = 0;
  node = step(3, words.setup.view.title, this.#body, element("p", { className: "hint" }, words.setup.view.about));

  /**
   * @param {Placement} placement
   * @param {Instrument | undefined} instrument
   * @param {Choices} choices
   * @param {boolean} looking whether pictures come
   */
  show(placement, instrument, choices, looking) {
    const known = looking && placement.enough;
    const key = known ? JSON.stringify(placement.grades.map((one) => [one.side, one.name, one.grade])) : "";
    if (key !== this.#shown || this.#body.childElementCount === 0) {
      this.#shown = key;
      this.#body.replaceChildren(known ? table(placement.grades) : element("p", { className: "hint" }, words.setup.view.waiting));
      const verdict = byId("verdict", HTMLElement);
      verdict.hidden = !known;
      verdict.replaceChildren(...(known ? SIDES.flatMap((side) => verdictOf(side, placement.grades)) : []));
    }
    this.#advise(known ? placement : null, instrument, choices);
  }

  /**
   * @param {Placement | null} placement
   * @param {Instrument | undefined} instrument
   * @param {Choices} choices
   */
  #advise(placement, instrument, choices) {
    const advice = placement?.advice ?? null;
    const key = placement === null ? "waiting" : JSON.stringify([advice, standing(placement)]);
    this.#times = key === this.#next ? this.#times + 1 : 1;
    this.#next = key;
    if (key === this.#said || (this.#said !== "waiting" && this.#said !== "" && this.#times < IN_A_ROW)) return;
    this.#said = key;
    const box = byId("advice", HTMLElement);
    setData(box, "kind", advice ? "advice" : placement ? "good" : "waiting");
    setText(within(box, "p", HTMLElement), sentence(placement, choices.film));
    within(box, "div", HTMLElement).replaceChildren(...(placement && instrument ? drawing(placement, instrument, choices) : []));
  }
}

/**
 * @param {Placement | null} placement
 * @param {boolean} film
 */
function sentence(placement, film) {
  const text = words.setup.view;
  if (placement === null) return text.waiting;
  const { advice } = placement;
  if (advice === null) return text[standing(placement)];
  if (film && advice.help === "frame rate") return text.filmRate;
  return text.advice[advice.help](advice.side ? words.hands[advice.side] : "", advice.move_deg ?? 0);
}

/**
 * Where the camera stands and where it is to go, where that is the advice.
 * @param {Placement} placement
 * @param {Instrument} instrument
 * @param {Choices} choices
 */
function drawing({ advice, towards_head_deg: now }, instrument, choices) {
  const [usual] = instrument.cameras;
  const turned = advice?.help === "towards head" || advice?.help === "towards front";
  return turned && usual && now !== null ? [placeDrawing(instrument, usual, choices.handedness, (choices.handedness === "left" ? -1 : 1) * now)] : [];
}

/**
 * What is said of a camera that may stay; lifts are nowhere known better than fairly, and ask for no other place.
 * @param {Placement} placement
 * @returns {"good" | "goodEnough" | "noBetter"}
 */
function standing({ grades }) {
  if (grades.some((one) => one.name !== "finger_lift" && (one.grade === "poorly" || one.grade === "not"))) return "noBetter";
  return grades.some((one) => one.grade !== "well") ? "goodEnough" : "good";
}

/**
 * What is measured of a hand, and how well, in one line to be read from where one plays.
 * @param {Side} side
 * @param {readonly Graded[]} grades
 */
function verdictOf(side, grades) {
  const text = words.setup.view;
  const some = grades.filter((one) => one.side === side);
  if (some.length === 0) return [];
  if (some.every((one) => one.grade === "not")) return [element("span", {}, text.nothing(words.hands[side]))];
  return [element("span", {}, text.verdict(words.hands[side], some.map((one) => text.graded(named(one), text.grades[one.grade])).join(", ")))];
}

/** @param {Graded} one */
const named = ({ name }) => (name === "finger_lift" ? words.setup.view.lift : labelOf(name));

/** @param {readonly Graded[]} grades */
function table(grades) {
  const text = words.setup.view;
  return element("table", { className: "grades" }, element("tbody", {}, ...grades.map((one) => {
    const lift = one.name === "finger_lift";
    return element("tr", { attr: { "data-grade": one.grade } },
      element("th", { scope: "row" }, text.row(words.hands[one.side], named(one))),
      element("td", { className: "dots", attr: { "aria-hidden": "true" } }, DOTS[one.grade]),
      element("td", {}, element("b", {}, text.grades[one.grade]), " ", element("span", { className: "hint" }, (lift ? text.promiseLift : text.promise)[one.grade])));
  })));
}
