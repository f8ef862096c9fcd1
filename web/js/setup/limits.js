// The fifth step: the limits of both hands side by side, with where they come from; what would pass a bound is asked about.

import { byId, element } from "../dom.js";
import { sentenceCase } from "../format.js";
import { words } from "../language.js";
import { say } from "../log/parts.js";
import { SIDES, leaning, limitText } from "../terms.js";
import { button, optionalStep, select } from "./parts.js";

/** @import { Act, Choose, OwnLimit, SetUp } from "./api.d.ts" */

/** Closed at first: the published limits do without it. */
const fold = { open: false };

const SHARES = [0.5, 0.6, 0.7, 0.8, 0.9, 1];

const deg = (/** @type {number | null} */ value) => (value === null ? words.setup.limits.none : limitText(value, "deg"));

/**
 * @param {SetUp} now
 * @param {Choose} choose
 * @param {Act} act
 */
export function limitsStep({ limits, choices }, choose, act) {
  const text = words.setup.limits;
  const lefts = limits.filter((one) => one.side === "left");
  return optionalStep(5, text.title, text.about, fold,
    element("div", { className: "table-frame" }, element("table", { className: "own-limits" },
      element("thead", {}, element("tr", {}, ...[text.limit, ...SIDES.map((side) => words.hands[side])].map((one) => element("th", { scope: "col" }, one)))),
      element("tbody", {}, ...lefts.map((one) => row(one, limits, act))))),
    element("p", { className: "hint" }, text.byHandAbout),
    select(text.share, SHARES.map((one) => [String(one), `${Math.round(100 * one)}\u00a0%`]), String(choices.range_share), (value) => choose({ range_share: Number(value) })));
}

/**
 * @param {OwnLimit} left
 * @param {readonly OwnLimit[]} limits
 * @param {Act} act
 */
function row(left, limits, act) {
  const { direction, level, quantity } = left;
  const text = words.setup.limits;
  const name = text.row(sentenceCase(leaning(quantity, direction)), words.levels[level]);
  const cells = SIDES.map((side) => limits.find((one) => one.side === side && one.quantity === quantity && one.direction === direction && one.level === level));
  return element("tr", {}, element("th", { scope: "row" }, name, element("small", { title: left.source ?? "" }, text.publishedAs(deg(left.published)))),
    ...cells.map((one) => (one ? cell(one, name, act) : element("td", {}))));
}

/**
 * What holds for one hand, why, and what the player would have instead.
 * @param {OwnLimit} one
 * @param {string} name
 * @param {Act} act
 */
function cell(one, name, act) {
  const text = words.setup.limits;
  const { side, direction, level } = one;
  const field = element("input", { inputMode: "decimal", size: 4, value: String(one.by_hand ?? ""), placeholder: text.narrower,
    attr: { autocomplete: "off", "aria-label": text.setOf(`${words.hands[side]}, ${name}`), name: `${side} ${direction} ${level}` }, onchange: () => change(one, field, act) });
  return element("td", { attr: { "data-origin": one.origin, "data-column": words.hands[side] } },
    element("span", { className: "of-hand" }, element("span", {}, element("b", {}, deg(one.used)), " ", element("small", {}, origin(one))), field));
}

/** @param {OwnLimit} one */
function origin({ origin: what, own, range_deg: range, range_side: of, side }) {
  const text = words.setup.limits.origins;
  if (what !== "range") return text[what];
  return (of === side ? text.range : text.otherRange)(deg(own), deg(range));
}

/**
 * Keeps what was typed. Too wide a limit is not taken, and the widest there is is offered; a very narrow one is asked about.
 * @param {OwnLimit} one
 * @param {HTMLInputElement} field
 * @param {Act} act
 */
async function change(one, field, act) {
  const text = words.setup.limits;
  const { side, quantity, direction, level } = one;
  const typed = field.value.trim().replace(",", ".");
  const value = typed === "" ? null : Number(typed);
  const back = () => { field.value = String(one.by_hand ?? ""); };
  const keep = async (/** @type {number | null} */ limit, sure = false) => {
    if (!await act("PATCH", "setup/limits", { side, quantity, direction, level, value: limit, sure })) back();
  };
  const about = `${words.hands[side]}, ${words.setup.limits.row(leaning(quantity, direction), words.levels[level])}`;
  if (value !== null && value > one.most) return question(text.tooWide(about, deg(value), deg(one.most)), text.take(deg(one.most)), () => keep(one.most), back);
  if (value !== null && value > 0 && value < one.ask_below) return question(text.tooNarrow(about, deg(value), deg(one.ask_below)), text.sure(deg(value)), () => keep(value, true), back);
  return keep(value);
}

/**
 * @param {string} asked
 * @param {string} yes
 * @param {() => unknown} onYes
 * @param {() => unknown} onNo
 */
function question(asked, yes, onYes, onNo) {
  byId("banner", HTMLElement).hidden = true;
  let answered = false;
  const sheet = element("dialog", { className: "sheet ask", attr: { "aria-label": asked } });
  sheet.append(element("p", {}, asked), element("p", { className: "row" },
    button(yes, () => { answered = true; sheet.close(); onYes(); }, "main"), button(words.setup.limits.leave, () => sheet.close())));
  sheet.addEventListener("close", () => {
    if (!answered) onNo();
    sheet.remove();
  });
  document.body.append(sheet);
  sheet.showModal();
  say(asked);
}
