// The practice book: which page an address shows. Addresses are "#/name/part/part".

import { clipsPage } from "./clips.js";
import { dataPage } from "./data.js";
import { knowPage } from "./know.js";
import { say } from "./parts.js";
import { piecePage, piecesPage } from "./pieces.js";
import { reviewPage } from "./review.js";
import { sessionPage } from "./session.js";
import { sessionsPage } from "./sessions.js";
import { trendsPage } from "./trends.js";

const PAGES = {
  sessions: sessionsPage, session: sessionPage, clips: clipsPage, review: reviewPage, trends: trendsPage,
  pieces: piecesPage, piece: piecePage, know: knowPage, data: dataPage,
};
/** Which link of the navigation a page belongs to. */
const PART_OF = { session: "sessions", review: "clips", piece: "pieces" };

const node = document.getElementById("page");
let turn = 0;
let leave = null;

async function show() {
  const mine = (turn += 1);
  const [name = "sessions", ...parts] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent)
    .filter((part) => part !== "");
  const known = Object.hasOwn(PAGES, name) ? name : "sessions";
  for (const link of document.querySelectorAll(".book-head a")) {
    const here = link.getAttribute("href") === `#/${PART_OF[known] ?? known}`;
    if (here) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  leave?.();
  leave = null;
  document.getElementById("banner").hidden = true;
  const made = await PAGES[known](parts);
  if (mine !== turn) return made.leave?.();
  node.replaceChildren(...made.nodes);
  leave = made.leave ?? null;
  document.title = `${made.title} · posturewatch`;
  made.shown?.();
  window.scrollTo(0, 0);
  const heading = node.querySelector("h1");
  heading?.setAttribute("tabindex", "-1");
  heading?.focus({ preventScroll: true });
  say(made.title);
}

window.addEventListener("hashchange", show);
// Pages ask for a fresh look after they have changed something.
window.addEventListener("book-changed", show);
show();
