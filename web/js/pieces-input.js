// A field for a piece's name that suggests known pieces while typing.

import { get } from "./actions.js";
import { element } from "./dom.js";
import { words } from "./language.js";

/** @import { Answer, SuggestedPiece } from "./api.d.ts" */

const WAIT_MS = 120;
let count = 0;

/**
 * onBars(list) is told of the known passages of the piece once it is one.
 * @param {string} value
 * @param {{ onBars?: (bars: string[]) => void }} [options]
 */
export function pieceInput(value, { onBars = () => {} } = {}) {
  const id = `pieces-${(count += 1)}`;
  const list = element("datalist", { id });
  const input = element("input", { value, maxLength: 200, autocomplete: "off", placeholder: words.playing.pieceExample, attr: { list: id } });
  let timer = 0;
  let asked = 0;
  async function suggest() {
    const mine = (asked += 1);
    /** @type {Answer<{ pieces: SuggestedPiece[] }>} */
    const { body } = await get(`pieces/suggest?begins=${encodeURIComponent(input.value)}`);
    if (!body || mine !== asked) return;
    list.replaceChildren(...body.pieces.map((piece) => element("option", { value: piece.name })));
    const exact = body.pieces.find((piece) => piece.name.toLowerCase() === input.value.trim().toLowerCase());
    onBars(exact?.bars ?? []);
  }
  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(suggest, WAIT_MS);
  });
  input.addEventListener("focus", suggest);
  return { node: element("span", { className: "piece-input" }, input, list), input, get value() { return input.value.trim(); } };
}
