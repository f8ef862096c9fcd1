// The repertoire: pieces not played for a while first, and a page for each.

import { get, send } from "../actions.js";
import { element } from "../dom.js";
import { percent, wristOnly } from "../words.js";
import { clipList } from "./clips.js";
import { drawCharts, shareChart } from "./charts.js";
import { button, card, changed, confirmed, date, done, faultPage, field, head, link, passageName, table } from "./parts.js";

const DAY_MS = 86_400_000;

function ago(iso) {
  if (iso === null) return "never";
  const days = Math.floor((Date.now() - new Date(iso).getTime()) / DAY_MS);
  if (days < 1) return "within a day";
  if (days < 14) return days === 1 ? "a day ago" : `${days} days ago`;
  return days < 60 ? `${Math.floor(days / 7)} weeks ago` : `${Math.floor(days / 30.4)} months ago`;
}

const minutes = (count) => `${count < 10 ? Math.round(count * 10) / 10 : Math.round(count)} min`;

export async function piecesPage() {
  const { body, error } = await get("pieces");
  if (error) return faultPage("Pieces", error);
  return {
    title: "Pieces",
    nodes: [head("Pieces", element("p", {}, "Your repertoire: what you have not played for longest comes first.")),
      body.pieces.length === 0 ? element("p", {}, "No piece has been named yet. Name what you play on the practice page.")
        : table("Pieces, those not played for longest first", ["Piece", "Last played", "Played", "Sessions", "Clips"],
          body.pieces.map((one) => [link(one.name, `#/piece/${one.id}`), ago(one.last_played), minutes(one.minutes), String(one.sessions), String(one.clips)]), "wide")],
  };
}

export async function piecePage([id = ""]) {
  const { body, error } = await get(`pieces/${encodeURIComponent(id)}`);
  if (error) return faultPage("Piece", error);
  return {
    title: body.name,
    nodes: [
      head(body.name, element("p", {}, body.last_played === null ? "Never played in a session."
        : `Last played ${ago(body.last_played)} (${date(body.last_played)}), ${minutes(body.minutes)} in ${body.sessions} ${body.sessions === 1 ? "session" : "sessions"}.`)),
      exposureCard(body.played), playedCard(body.played),
      card("Its clips", clipList(body.clip_list, "No clip shows this piece yet.", true)), nameCard(body),
    ],
    shown: () => drawCharts(document),
  };
}

/** Lines of shares over sessions; the passages of one session count together, by their measured time. */
function linesOf(played) {
  const lines = new Map();
  played.forEach((session, place) => {
    for (const one of wristOnly(session.exposure)) {
      for (const level of one.levels) {
        const key = `${one.side} ${level.direction}, ${level.level}`;
        if (!lines.has(key)) lines.set(key, played.map(() => ({ measured: 0, beyond: 0 })));
        const cell = lines.get(key)[place];
        cell.measured += one.measured_s;
        cell.beyond += level.seconds;
      }
    }
  });
  return [...lines].map(([name, cells]) => ({ name, x: played.map((one) => one.started_at.slice(0, 19)),
    y: cells.map((cell) => (cell.measured > 0 ? cell.beyond / cell.measured : null)) }))
    .filter((one) => one.y.some((share) => share > 0))
    .sort((a, b) => b.name.endsWith("extreme") - a.name.endsWith("extreme") || Math.max(...b.y) - Math.max(...a.y)).slice(0, 6);
}

function exposureCard(played) {
  const lines = linesOf(played);
  if (lines.length === 0) return card("Over time", element("p", {}, "No limit was passed in this piece, as far as it was measured."));
  const last = lines.map((one) => `${one.name}: ${percent(one.y.at(-1))}`).join("; ");
  return card("Over time", shareChart("Share of the measured time beyond each limit, by session", lines),
    element("p", { className: "small" }, `In the last session: ${last} of the measured time.`));
}

function playedCard(played) {
  return card("Where it was played", table("Sessions with this piece", ["Session", "Played", "Passages"], [...played].reverse().map((one) => [
    link(date(one.started_at), `#/session/${encodeURIComponent(one.session_id)}`), minutes(one.minutes),
    [...new Set(one.passages.map((passage) => passage.bars || "whole piece"))].join(", ")])));
}

function nameCard(piece) {
  const name = element("input", { value: piece.name, maxLength: 200 });
  return card("Its name", field("Name", name), element("p", { className: "row" },
    button("Rename", async () => {
      const { body, error } = await send("PATCH", `pieces/${piece.id}`, { name: name.value });
      if (error) return done(Promise.resolve({ error }));
      if (body.id === piece.id) changed();
      else location.hash = `#/piece/${body.id}`;
    }),
    button("Delete piece", async () => {
      if (await confirmed(`Delete the piece ${passageName({ piece: piece.name })}?`, "Delete piece")
        && await done(send("DELETE", `pieces/${piece.id}`))) location.hash = "#/pieces";
    }, { className: "danger", disabled: piece.passages > 0 })),
  element("p", { className: "small" }, "Renamed to a name that is there already, both become one. A piece with passages in sessions cannot be deleted."));
}
