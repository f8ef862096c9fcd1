// Films handed in: dropped or chosen, copied to this machine's disk, measured there, and then sessions.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { bytes, duration, percent } from "../format.js";
import { words } from "../language.js";
import { button, card, changed, done, fail, field, link } from "./parts.js";

/** @import { Answer, HandedIn } from "../api.d.ts" */

const LOOK_MS = 2000;
const BUSY = new Set(["waiting", "measuring", "keeping"]);

/** Films that are being copied just now, whichever page is shown: name and share. @type {Map<string, { name: string, share: number }>} */
const sending = new Map();
let nextSending = 0;

/** The card where films are handed in, and what is to be done when the page is left. */
export function filmsCard() {
  const text = words.films;
  const list = element("ul", { className: "films", attr: { "aria-label": text.list } });
  const piece = element("input", { type: "text", maxLength: 120, autocomplete: "off" });
  const bars = element("input", { type: "text", maxLength: 40, autocomplete: "off" });
  const chosen = element("input", { type: "file", accept: "video/*", multiple: true, id: "films", attr: { "aria-label": text.choose } });
  const node = card(text.title, element("p", {}, text.drop), element("p", {}, chosen),
    element("div", { className: "row" }, field(text.piece, piece), field(text.bars, bars)), list);
  node.id = "films-card";
  let left = false;
  let looks = 0;
  let limit = Infinity;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let timer;

  /** @type {Set<string>} */
  let busy = new Set();
  const look = async () => {
    clearTimeout(timer);
    const mine = (looks += 1);
    /** @type {Answer<{ films: HandedIn[], limit_bytes: number }>} */
    const { body } = await get("films");
    if (left || mine !== looks) return;
    if (body) {
      limit = body.limit_bytes;
      node.hidden = limit === 0;
      list.replaceChildren(...[...sending.values()].map(({ name, share }) => line(name, text.sending(percent(share)), share)), ...body.films.map((one) => film(one, look)));
      const now = new Set(body.films.filter((one) => BUSY.has(one.phase)).map((one) => one.id));
      const finished = body.films.some((one) => one.phase === "kept" && busy.has(one.id));
      busy = now;
      // Its session belongs into the table above.
      if (finished) changed();
    } else node.hidden = true;
    if (busy.size > 0 || sending.size > 0) timer = setTimeout(look, LOOK_MS);
  };
  const handIn = async (/** @type {Iterable<File>} */ files) => {
    for (const file of files) {
      if (file.size > limit) fail(text.tooLarge(file.name, bytes(limit)));
      else {
        const sentence = await sent(file, piece.value.trim(), bars.value.trim(), () => { if (!left) look(); });
        if (sentence) fail(sentence);
      }
    }
    if (!left) look();
  };
  chosen.addEventListener("change", () => {
    const files = [...(chosen.files ?? [])];
    chosen.value = "";
    handIn(files);
  });
  node.addEventListener("dragover", (event) => { event.preventDefault(); node.classList.add("over"); });
  node.addEventListener("dragleave", () => node.classList.remove("over"));
  node.addEventListener("drop", (event) => {
    event.preventDefault();
    node.classList.remove("over");
    handIn(event.dataTransfer?.files ?? []);
  });
  look();
  return { node, leave: () => { left = true; clearTimeout(timer); } };
}

/**
 * @param {HandedIn} one
 * @param {() => void} look
 */
function film(one, look) {
  const text = words.films;
  const said = {
    waiting: text.waiting, keeping: text.keeping, kept: text.kept, failed: text.failed,
    measuring: [text.measuring(percent(one.share ?? 0)), one.left_s === null ? "" : text.left(duration(one.left_s))].filter(Boolean).join(", "),
  }[one.phase];
  const remove = async () => { if (await done(send("DELETE", `films/${encodeURIComponent(one.id)}`))) look(); };
  return line(one.name, said, one.phase === "measuring" ? one.share : null,
    one.sentence ? element("span", { className: one.phase === "failed" ? "fault" : "small" }, one.sentence) : null,
    one.session_id ? link(words.films.open, `#/session/${encodeURIComponent(one.session_id)}`, { className: "small-button" }) : null,
    button(text.remove, remove));
}

/**
 * @param {string} name
 * @param {string} said
 * @param {number | null} share
 * @param {...(Node | null)} more
 */
function line(name, said, share, ...more) {
  const bar = share === null ? null : element("progress", { max: 1, value: share, attr: { "aria-label": name } });
  return element("li", {}, element("b", {}, name), ` ${said} `, bar, ...more);
}

/**
 * Copies a film to this machine's disk; what went wrong, or null. Only this kind of request tells how far it has come.
 * @param {File} file
 * @param {string} piece
 * @param {string} bars
 * @param {() => void} look
 * @returns {Promise<string | null>}
 */
function sent(file, piece, bars, look) {
  const key = String((nextSending += 1));
  sending.set(key, { name: file.name, share: 0 });
  look();
  return new Promise((answer) => {
    const asked = new URLSearchParams({ name: file.name, bars, modified_s: String(file.lastModified / 1000), ...(piece ? { piece } : {}) });
    const request = new XMLHttpRequest();
    const end = (/** @type {string | null} */ sentence) => { sending.delete(key); answer(sentence); };
    request.upload.addEventListener("progress", (event) => { sending.set(key, { name: file.name, share: event.loaded / Math.max(1, event.total) }); });
    request.addEventListener("error", () => end(words.faults.unreachable));
    request.addEventListener("load", () => end(request.status === 200 ? null : sentenceOf(request.responseText)));
    request.open("PUT", `/api/films?${asked}`);
    request.send(file);
  });
}

/** @param {string} body */
function sentenceOf(body) {
  try {
    return /** @type {string} */ (JSON.parse(body).error ?? words.faults.unreachable);
  } catch {
    return words.faults.unreachable;
  }
}
