// The fourth step, each part of which can be skipped: who plays, the hand's length, the held neutral, the own range, the lens.

import { element } from "../dom.js";
import { words } from "../language.js";
import { sentenceCase } from "../format.js";
import { SIDES, WRIST, leaning } from "../terms.js";
import { cardDialog } from "./card.js";
import { button, optionalStep, select } from "./parts.js";

/** @import { Side } from "../api.d.ts" */
/** @import { Act, Choices, Choose, Player, SetUp } from "./api.d.ts" */

/** Closed at first: all of it can be skipped. */
const fold = { open: false };

const OTHER = "\u0000other";

/**
 * @param {SetUp} now
 * @param {Choose} choose
 * @param {Act} act
 */
export function handStep({ choices, player, straight }, choose, act) {
  const text = words.setup.hand;
  return optionalStep(4, text.title, text.optional, fold, whoPlays(player, choose), lengthOf(player, act),
    element("h3", {}, text.straight), element("p", { className: "hint" }, text.straightAbout),
    element("p", { className: "row" }, ...SIDES.map((side) => {
      const held = straight.some((one) => one.side === side);
      return button(held ? `✓ ${text.straightDone(words.hands[side])}` : text.straightStart(words.hands[side]), () => act("POST", "setup/measure", { what: "neutral", side }), held ? "held" : "");
    })),
    element("h3", {}, text.range), element("p", { className: "hint" }, text.rangeAbout), rangeTable(player, act),
    player.ends.length > 0 ? button(text.forget, () => act("DELETE", "setup/range"), "danger") : null,
    lensOf(choices, choose, act));
}

/**
 * @param {Player} player
 * @param {Choose} choose
 */
function whoPlays(player, choose) {
  const text = words.setup.hand;
  return select(text.player, [...player.names.map((one) => /** @type {[string, string]} */ ([one, one])), [OTHER, text.other]], player.name, (value) => {
    const name = value === OTHER ? window.prompt(text.newName) ?? "" : value;
    return choose({ player: name.trim() || player.name });
  });
}

/**
 * @param {Player} player
 * @param {Act} act
 */
function lengthOf(player, act) {
  const text = words.setup.hand;
  const field = element("input", { inputMode: "decimal", value: String(player.hand?.length_mm ?? player.hand_mm ?? ""), size: 6, autocomplete: "off", attr: { "aria-label": text.length, name: "hand" } });
  const keep = () => act("PUT", "setup/hand", { length_mm: Number(field.value.replace(",", ".")), method: "ruler" });
  return element("div", {}, element("h3", {}, text.length), element("p", { className: "hint" }, `${text.lengthAbout} ${text.typical(player.typical_hand_mm)}`),
    element("p", { className: "row" }, field, "mm", button(text.ruler, keep),
      button(text.card, () => cardDialog((length) => act("PUT", "setup/hand", { length_mm: length, method: "card" }))),
      player.hand ? button(text.clear, () => act("PUT", "setup/hand", { length_mm: null })) : null));
}

/**
 * @param {Player} player
 * @param {Act} act
 */
function rangeTable(player, act) {
  const text = words.setup.hand;
  const directions = WRIST.flatMap((quantity) => Object.keys(quantity.directions).map((direction) => ({ quantity: quantity.name, direction })));
  const cell = (/** @type {Side} */ side, /** @type {{ quantity: string, direction: string }} */ { quantity, direction }) => {
    const end = player.ends.find((one) => one.side === side && one.quantity === quantity && one.direction === direction);
    const named = `${words.hands[side]}, ${leaning(quantity, direction)}: ${end ? text.again : text.measure}`;
    return element("td", {}, element("button", { type: "button", className: "small-button", onclick: () => act("POST", "setup/measure", { what: "end", side, quantity, direction }),
      attr: { "aria-label": end ? `${text.ends(Math.round(end.value_deg))} ${named}` : named } }, end ? text.ends(Math.round(end.value_deg)) : text.measure));
  };
  return element("table", { className: "range" },
    element("thead", {}, element("tr", {}, element("td", {}), ...SIDES.map((side) => element("th", { scope: "col" }, words.hands[side])))),
    element("tbody", {}, ...directions.map((one) => element("tr", {}, element("th", { scope: "row" }, sentenceCase(leaning(one.quantity, one.direction))), ...SIDES.map((side) => cell(side, one))))));
}

/**
 * @param {Choices} choices
 * @param {Choose} choose
 * @param {Act} act
 */
function lensOf(choices, choose, act) {
  const text = words.setup.hand;
  const field = element("input", { inputMode: "decimal", value: String(choices.hfov_deg ?? ""), size: 6, autocomplete: "off", attr: { "aria-label": text.fov, name: "fov" } });
  return element("details", { open: choices.hfov_deg !== null }, element("summary", {}, text.lens), element("p", { className: "hint" }, text.lensAbout),
    element("p", { className: "row" }, element("span", {}, text.fov), field, button(text.keepFov, () => choose({ hfov_deg: Number(field.value.replace(",", ".")) })),
      choices.hfov_deg === null ? null : button(text.clearFov, () => choose({ hfov_deg: null }))),
    element("p", { className: "hint" }, text.lensHow),
    element("p", { className: "row" }, element("a", { className: "small-button", href: "/api/setup/board.pdf", target: "_blank" }, text.board), button(text.lensStart, () => act("POST", "setup/measure", { what: "lens" }))));
}
