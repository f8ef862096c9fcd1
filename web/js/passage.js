// What is played: shown beneath the picture, changed in a sheet, gone through by N and P.

import { get, send } from "./actions.js";
import { around, byId, element, setData, setText } from "./dom.js";
import { passageName } from "./format.js";
import { words } from "./language.js";
import { once } from "./once.js";
import { pieceInput } from "./pieces-input.js";

/** @import { Answer, Passage, PracticeList } from "./api.d.ts" */

/** A key held down or struck twice steps once. */
const BOUNCE_MS = 350;

export class PassageBar {
  #stepped = -Infinity;
  #asked = 0;
  /** Undefined until the practice has told of one. @type {Passage | null | undefined} */
  #shown = undefined;
  /** @type {PracticeList} */
  #list = { items: [], position: null };
  #now = byId("passage", HTMLButtonElement);
  #next = byId("next", HTMLButtonElement);
  #previous = byId("previous", HTMLButtonElement);
  #say;
  #fail;

  /**
   * say, fail: how the page says what was done, and what went wrong.
   * @param {{ say: (text: string) => void, fail: (sentence: string) => void }} page
   */
  constructor({ say, fail }) {
    this.#say = say;
    this.#fail = fail;
    setText(this.#now, words.playing.choose);
    this.#next.hidden = this.#previous.hidden = true;
    this.#now.disabled = false;
    this.#next.addEventListener("click", () => this.step(1));
    this.#previous.addEventListener("click", () => this.step(-1));
    this.#now.addEventListener("click", once(() => this.open()));
    document.addEventListener("keydown", (event) => this.#key(event));
  }

  async #load() {
    this.#shown ??= null;
    /** @type {Answer<PracticeList>} */
    const { body } = await get("practice-list");
    if (body) this.#take(body);
  }

  /** @param {PracticeList} list */
  #take({ items, position }) {
    this.#list = { items, position };
    const none = items.length === 0;
    this.#next.hidden = this.#previous.hidden = none;
    this.#next.disabled = none || position === items.length - 1;
    this.#previous.disabled = none || position === null || position === 0;
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (around(event, "input, textarea, select, dialog")) return;
    const key = event.key.toLowerCase();
    if (key !== "n" && key !== "p") return;
    event.preventDefault();
    const now = performance.now();
    if (now - this.#stepped < BOUNCE_MS) return;
    this.#stepped = now;
    this.step(key === "n" ? 1 : -1);
  }

  /** @param {1 | -1} by */
  async step(by) {
    if (this.#list.items.length === 0) return this.#fail(words.playing.noList);
    if (await this.#go({ by })) this.#say(words.playing.nowPlaying(passageName(this.#shown ?? null)));
    return undefined;
  }

  /**
   * Goes to another item of the list; false where that failed, which is shown.
   * @param {{ by: 1 | -1 } | { to: number }} where
   */
  async #go(where) {
    const mine = (this.#asked += 1);
    /** @type {Answer<PracticeList & { passage: Passage | null }>} */
    const { body, error } = await send("POST", "practice-list/step", where);
    if (!body) {
      this.#fail(error ?? "");
      return false;
    }
    // An answer that comes after that of a later step is no longer where the list stands.
    if (mine !== this.#asked) return true;
    this.#take(body);
    this.show(body.passage);
    return true;
  }

  /**
   * The list is asked for with the first passage that is told.
   * @param {Passage | null} passage
   */
  show(passage) {
    if (this.#shown === undefined) this.#load().then(() => this.show(this.#shown ?? null));
    this.#shown = passage;
    const { items, position } = this.#list;
    const place = passage && position !== null && same(items[position], passage) ? ` (${words.playing.place(position + 1, items.length)})` : "";
    setText(this.#now, passage ? `${passageName(passage)}${place}` : words.playing.choose);
    setData(this.#now, "none", String(!passage));
  }

  async open() {
    await this.#load();
    const text = words.playing;
    const sheet = element("dialog", { className: "sheet", attr: { "aria-label": text.title } });
    const fields = choiceFields(this.#shown ?? null);
    const items = this.#list.items.map((one) => ({ ...one }));
    const list = element("ol", { className: "practice-list" });
    const fault = element("p", { attr: { role: "alert" } });
    const draw = () => list.replaceChildren(...items.map((one, i) => this.#row(one, i, items, change, sheet)));
    const save = async () => {
      /** @type {Answer<PracticeList>} */
      const { body, error } = await send("PUT", "practice-list", { items });
      setText(fault, error ?? "");
      if (body) this.#take(body);
      return body !== null;
    };
    // One change at a time: one that was refused is taken back, and no other with it.
    const change = once(async (/** @type {() => void} */ act) => {
      const before = [...items];
      act();
      if (await save()) draw();
      else items.splice(0, items.length, ...before);
    });
    const play = once(async (/** @type {Passage} */ passage) => {
      /** @type {Answer<{ passage: Passage | null }>} */
      const { body, error } = await send("POST", "passage", passage);
      if (!body) return setText(fault, error ?? "");
      this.show(body.passage);
      this.#say(text.nowPlaying(passageName(body.passage)));
      return sheet.close();
    });
    const playFields = () => play(fields.read().piece ? fields.read() : { piece: null });
    const add = () => {
      const one = fields.read();
      return one.piece ? change(() => items.push(one)) : setText(fault, text.nameFirst);
    };
    draw();
    fields.node.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      playFields();
    });
    sheet.append(element("h2", {}, text.title), fields.node, element("p", { className: "sheet-row" },
      press(text.playNow, playFields, { className: "main" }), press(text.addToList, add), press(text.playNone, () => play({ piece: null }))), fault,
    element("h3", {}, text.list), list, element("p", { className: "small" }, items.length === 0 ? `${text.listAbout} ${text.listKeys}` : text.listKeys),
    element("p", { className: "sheet-row" }, press(words.close, () => sheet.close())));
    sheet.addEventListener("close", () => sheet.remove());
    document.body.append(sheet);
    sheet.showModal();
    fields.first.focus();
  }

  /**
   * @param {Passage} one
   * @param {number} i
   * @param {Passage[]} items
   * @param {(act: () => void) => unknown} change
   * @param {HTMLDialogElement} sheet
   */
  #row(one, i, items, change, sheet) {
    const text = words.playing;
    const earlier = items[i - 1];
    const row = element("li", {}, element("span", {}, passageName(one)),
      press(text.play, async () => {
        if (await this.#go({ to: i })) sheet.close();
      }),
      press("↑", () => change(() => { if (earlier) items.splice(i - 1, 2, one, earlier); }), { disabled: !earlier, spoken: text.earlier(passageName(one)) }),
      press("×", () => change(() => items.splice(i, 1)), { spoken: text.takeOff(passageName(one)) }));
    if (i === this.#list.position) row.setAttribute("aria-current", "true");
    return row;
  }
}

/** @param {Passage | null} passage */
function choiceFields(passage) {
  const text = words.playing;
  const known = element("datalist", { id: "known-bars" });
  const name = pieceInput(passage?.piece ?? "", { onBars: (list) => known.replaceChildren(...list.map((value) => element("option", { value }))) });
  const bars = element("input", { value: passage?.bars ?? "", maxLength: 200, placeholder: text.barsExample, autocomplete: "off", attr: { list: "known-bars" } });
  const speed = element("input", { value: String(passage?.tempo_bpm ?? ""), inputMode: "decimal", placeholder: text.noTempo, autocomplete: "off" });
  return {
    first: name.input,
    node: element("div", { className: "choice-fields" }, element("label", {}, text.piece, name.node),
      element("label", {}, text.passage, bars, known), element("label", {}, text.tempo, speed)),
    read: () => ({ piece: name.value, bars: bars.value.trim(), tempo_bpm: speed.value.trim() ? Number(speed.value.replace(",", ".")) : null }),
  };
}

/**
 * @param {string} label
 * @param {() => unknown} onclick
 * @param {{ className?: string, disabled?: boolean, spoken?: string }} [options]
 */
function press(label, onclick, { className = "", disabled = false, spoken = "" } = {}) {
  return element("button", { type: "button", className: `bar-button ${className}`.trim(), onclick: once(onclick), disabled, attr: spoken ? { "aria-label": spoken } : {} }, label);
}

/**
 * @param {Passage | undefined} a
 * @param {Passage} b
 */
const same = (a, b) => a !== undefined && a.piece === b.piece && (a.bars ?? "") === (b.bars ?? "") && (a.tempo_bpm ?? null) === (b.tempo_bpm ?? null);
