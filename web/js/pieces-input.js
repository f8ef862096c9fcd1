// A field for a piece's name that suggests known pieces while typing.

import { get } from "./actions.js";
import { element } from "./dom.js";

const WAIT_MS = 120;
let count = 0;

/** {node, input, value, barsOf(name)}; onBars(list) is told of the known passages of the piece once it is one. */
export function pieceInput(value, { onBars = () => {}, ...more } = {}) {
  const id = `pieces-${(count += 1)}`;
  const list = element("datalist", { id });
  const input = element("input", { value, maxLength: 200, autocomplete: "off", placeholder: "name of the piece", attr: { list: id }, ...more });
  let timer = 0;
  let asked = 0;
  async function suggest() {
    const mine = (asked += 1);
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
