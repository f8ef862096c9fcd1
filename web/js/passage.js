// What is played: shown above the practice, changed in a sheet, gone through by N and P.

import { get, send } from "./actions.js";
import { element, setData, setText } from "./dom.js";
import { pieceInput } from "./pieces-input.js";

/** A key held down or struck twice steps once. */
const BOUNCE_MS = 350;

export class PassageBar {
  #stepped = -Infinity;
  #shown = undefined;

  /** say, fail: how the page says what was done, and what went wrong. */
  constructor({ say, fail }) {
    this.say = say;
    this.fail = fail;
    this.now = document.getElementById("passage");
    this.list = { items: [], position: null };
    document.getElementById("next").addEventListener("click", () => this.step(1));
    document.getElementById("previous").addEventListener("click", () => this.step(-1));
    this.now.addEventListener("click", () => this.open());
    document.addEventListener("keydown", (event) => this.#key(event));
  }

  async #load() {
    this.#shown ??= null;
    const { body } = await get("practice-list");
    if (body) this.#take(body);
  }

  #take({ items, position }) {
    this.list = { items, position };
    const none = items.length === 0;
    document.getElementById("next").disabled = none || position === items.length - 1;
    document.getElementById("previous").disabled = none || position === null || position === 0;
  }

  #key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (event.target instanceof Element && event.target.closest("input, textarea, select, dialog")) return;
    const by = { n: 1, p: -1 }[event.key.toLowerCase()];
    if (by === undefined) return;
    event.preventDefault();
    const now = performance.now();
    if (now - this.#stepped < BOUNCE_MS) return;
    this.#stepped = now;
    this.step(by);
  }

  async step(by) {
    if (this.list.items.length === 0) return this.fail("There is no practice list yet; press the passage's name to set one up.");
    const { body, error } = await send("POST", "practice-list/step", { by });
    if (error) return this.fail(error);
    this.#take(body);
    this.show(body.passage);
    this.say(`Now ${words(body.passage)}.`);
  }

  /** passage: {piece, bars, tempo_bpm} or null. The list is asked for with the first one that is told. */
  show(passage) {
    if (this.#shown === undefined) this.#load().then(() => this.show(this.#shown));
    this.#shown = passage;
    const { items, position } = this.list;
    const place = passage && position !== null && same(items[position], passage) ? ` (${position + 1} of ${items.length})` : "";
    setText(this.now, passage ? `${words(passage)}${place}` : "Piece and passage…");
    setData(this.now, "none", String(!passage));
  }

  async open() {
    await this.#load();
    const sheet = element("dialog", { className: "sheet", attr: { "aria-label": "What you play" } });
    const fields = choiceFields(this.#shown ?? { piece: "", bars: "", tempo_bpm: null });
    const items = this.list.items.map((one) => ({ ...one }));
    const list = element("ol", { className: "practice-list" });
    const fault = element("p", { attr: { role: "alert" } });
    const draw = () => list.replaceChildren(...items.map((one, i) => this.#row(one, i, items, draw, sheet, save)));
    const save = async () => {
      const { body, error } = await send("PUT", "practice-list", { items });
      setText(fault, error ?? "");
      if (body) this.#take(body);
      return error === null;
    };
    const play = async (passage) => {
      const { body, error } = await send("POST", "passage", passage);
      if (error) return setText(fault, error);
      this.show(body.passage);
      this.say(body.passage ? `Now ${words(body.passage)}.` : "Nothing in particular.");
      sheet.close();
    };
    const add = async () => {
      const one = fields.read();
      if (!one.piece) return setText(fault, "Name the piece first.");
      items.push(one);
      if (await save()) draw();
      else items.pop();
    };
    draw();
    fields.node.addEventListener("keydown", (event) => {
      if (event.key === "Enter") {
        event.preventDefault();
        play(fields.read().piece ? fields.read() : { piece: null });
      }
    });
    sheet.append(element("h2", {}, "What you play"), fields.node, element("p", { className: "sheet-row" },
      press("Play this now", () => play(fields.read().piece ? fields.read() : { piece: null }), "main"),
      press("Add to the list", add), press("Nothing in particular", () => play({ piece: null }))), fault,
    element("h3", {}, "Practice list"), list, element("p", { className: "small" },
      items.length === 0 ? "Set up beforehand what you will play; while playing, N goes to the next and P to the previous." : "While playing, N goes to the next and P to the previous."),
    element("p", { className: "sheet-row" }, press("Close", () => sheet.close())));
    sheet.addEventListener("close", () => sheet.remove());
    document.body.append(sheet);
    sheet.showModal();
    fields.first.focus();
  }

  #row(one, i, items, draw, sheet, save) {
    const change = async (act) => {
      const before = items.map((item) => item);
      act();
      if (await save()) draw();
      else items.splice(0, items.length, ...before);
    };
    const row = element("li", {}, element("span", {}, words(one)),
      press("Play", async () => {
        const { body, error } = await send("POST", "practice-list/step", { to: i });
        if (error) return this.fail(error);
        this.#take(body);
        this.show(body.passage);
        sheet.close();
      }),
      press("↑", () => change(() => items.splice(i - 1, 2, items[i], items[i - 1])), "", i === 0, `Earlier: ${words(one)}`),
      press("×", () => change(() => items.splice(i, 1)), "", false, `Take off the list: ${words(one)}`));
    if (i === this.list.position) row.setAttribute("aria-current", "true");
    return row;
  }
}

function choiceFields({ piece, bars, tempo_bpm: tempo }) {
  const known = element("datalist", { id: "known-bars" });
  const name = pieceInput(piece ?? "", { onBars: (list) => known.replaceChildren(...list.map((value) => element("option", { value }))) });
  const passage = element("input", { value: bars ?? "", maxLength: 200, placeholder: "bars 12-16", autocomplete: "off", attr: { list: "known-bars" } });
  const speed = element("input", { value: tempo ?? "", inputMode: "decimal", placeholder: "without", autocomplete: "off" });
  const label = (text, ...input) => element("label", {}, text, ...input);
  return {
    first: name.input,
    node: element("div", { className: "choice-fields" }, label("Piece", name.node), label("Passage", passage, known), label("Tempo (bpm)", speed)),
    read: () => ({ piece: name.value, bars: passage.value.trim(), tempo_bpm: speed.value.trim() ? Number(speed.value.replace(",", ".")) : null }),
  };
}

function press(label, onclick, more = "", disabled = false, spoken = "") {
  return element("button", { type: "button", className: `bar-button ${more}`.trim(), onclick, disabled, attr: spoken ? { "aria-label": spoken } : {} }, label);
}

const same = (a, b) => a && b && a.piece === b.piece && (a.bars ?? "") === (b.bars ?? "") && (a.tempo_bpm ?? null) === (b.tempo_bpm ?? null);

function words(passage) {
  if (!passage?.piece) return "nothing in particular";
  return `${passage.piece}${passage.bars ? `, ${passage.bars}` : ""}${passage.tempo_bpm ? ` · ${Math.round(passage.tempo_bpm)} bpm` : ""}`;
}
