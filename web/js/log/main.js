// The practice log: which page an address shows. Addresses are "#/name/part/part".

import { get } from "../actions.js";
import { byId, element, setText } from "../dom.js";
import { clock } from "../format.js";
import { fillWords, words } from "../language.js";
import { clipsPage } from "./clips.js";
import { dataPage } from "./data.js";
import { guidePage } from "./guide.js";
import { say } from "./parts.js";
import { piecePage, piecesPage } from "./pieces.js";
import { reviewPage } from "./review.js";
import { sessionPage } from "./session.js";
import { sessionsPage } from "./sessions.js";
import { trendsPage } from "./trends.js";
import { vocabulary } from "../vocabulary.js";

/** @import { Answer, Page, PracticeState } from "../api.d.ts" */

/** @type {Map<string, (parts: string[]) => Promise<Page>>} */
const PAGES = new Map(Object.entries({
  sessions: sessionsPage, session: sessionPage, clips: clipsPage, review: reviewPage, trends: trendsPage,
  pieces: piecesPage, piece: piecePage, guide: guidePage, data: dataPage,
}));
/** Which link of the navigation a page belongs to. */
const PART_OF = new Map([["session", "sessions"], ["review", "clips"], ["piece", "pieces"]]);

const RECORDING_MS = 2000;
const node = byId("page", HTMLElement);
let turn = 0;
/** @type {(() => void) | null} */
let leave = null;

async function show() {
  const mine = (turn += 1);
  const [asked = "", ...parts] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent).filter((part) => part !== "");
  const name = PAGES.has(asked) ? asked : "sessions";
  for (const link of document.querySelectorAll(".log-head a")) {
    const here = link.getAttribute("href") === `#/${PART_OF.get(name) ?? name}`;
    if (here) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  leave?.();
  leave = null;
  byId("banner", HTMLElement).hidden = true;
  const made = await (PAGES.get(name) ?? sessionsPage)(parts);
  if (mine !== turn) return made.leave?.();
  node.replaceChildren(...made.nodes.filter((one) => one !== null));
  leave = made.leave ?? null;
  document.title = `${made.title} · posturewatch`;
  made.shown?.();
  window.scrollTo(0, 0);
  const heading = node.querySelector("h1");
  heading?.setAttribute("tabindex", "-1");
  heading?.focus({ preventScroll: true });
  say(made.title);
  return undefined;
}

/** While a practice is recorded, every page says so. */
async function showRecording() {
  /** @type {Answer<PracticeState>} */
  const { body } = await get("state");
  const sign = byId("recording", HTMLElement);
  sign.hidden = body?.phase !== "watching";
  setText(sign, `● ${words.sessions.recording} ${clock(body?.practised_s ?? 0)}`);
  setTimeout(showRecording, RECORDING_MS);
}

fillWords(document);
if (vocabulary.shared !== null) {
  document.body.dataset["shared"] = "true";
  byId("page", HTMLElement).before(element("p", { className: "shared-note", attr: { role: "note" } }, words.remarks.shared(vocabulary.shared.file, vocabulary.shared.notes)));
}
showRecording();
document.title = `${words.log.title} · posturewatch`;
window.addEventListener("hashchange", show);
// Pages ask for a fresh look after they have changed something.
window.addEventListener("log-changed", show);
show();
