// Watching a clip, or two of them side by side in step; keeping, noting and deleting it.

import { get, send } from "../actions.js";
import { element, setText } from "../dom.js";
import { clipTitle } from "./clips.js";
import { Deck } from "./deck.js";
import { button, card, changed, confirmed, dateAndTime, done, fail, faultPage, field, head, link, say, timeText } from "./parts.js";
import { limitsOf } from "./quantities.js";
import { ClipPlayer } from "./player.js";

export async function reviewPage([first = "", second = ""]) {
  const asked = [first, second].filter((one) => /^\d+$/.test(one));
  const [all, ...answers] = await Promise.all([get("clips"), ...asked.map(load)]);
  const fault = all.error ?? answers.find((one) => one.error)?.error;
  if (fault || answers.length === 0) return faultPage("Clip", fault ?? "Choose a clip from the list of clips.");
  let deck = null;
  const players = answers.map(({ clip, samples, limitsFor }) => new ClipPlayer(clip, samples, limitsFor, {
    onSeek: (time) => deck.seekOf(clip, time), onStep: (count) => deck.step(count),
  }));
  deck = new Deck(players);
  const [{ clip }] = answers;
  return {
    title: clipTitle(clip),
    nodes: [
      head("Review", element("p", {}, link("Its session", `#/session/${encodeURIComponent(clip.session_id)}`), ` · at ${timeText(clip.start_s)} of the practice`)),
      element("div", { className: players.length > 1 ? "players two" : "players" }, ...players.map((one) => one.node)),
      deck.controls,
      compareCard(all.body.clips, clip, answers[1]?.clip ?? null),
      ...answers.map((one, i) => ownCard(one.clip, answers.length > 1 ? (i === 0 ? "first clip" : "second clip") : "clip")),
    ],
    shown: () => deck.begin(),
    leave: () => deck.leave(),
  };
}

async function load(id) {
  const { body: clip, error } = await get(`clips/${id}`);
  if (error) return { error };
  const address = `sessions/${encodeURIComponent(clip.session_id)}`;
  const [samples, book] = await Promise.all([
    get(`${address}/samples?start_s=${Math.max(0, clip.start_s)}&end_s=${clip.end_s + 0.05}`), get(address)]);
  const exposures = book.body?.exposure?.session ?? [];
  const limits = new Map(exposures.map((one) => [`${one.side} ${one.quantity}`, limitsOf(one)]));
  return { clip, samples: samples.body, limitsFor: (one) => limits.get(`${one.side} ${one.quantity}`) ?? [], error: null };
}

function compareCard(clips, clip, other) {
  const others = clips.filter((one) => one.id !== clip.id && one.state === "there");
  if (others.length === 0) return card("Side by side", element("p", {}, "There is no other clip yet to compare this one with."));
  const choice = element("select", { id: "compare" }, element("option", { value: "" }, "one clip only"),
    ...others.map((one) => element("option", { value: String(one.id) }, `${dateAndTime(one.session_started_at)}, ${timeText(one.start_s)}: ${clipTitle(one)}`)));
  choice.value = other ? String(other.id) : "";
  choice.addEventListener("change", () => {
    location.hash = choice.value ? `#/review/${clip.id}/${choice.value}` : `#/review/${clip.id}`;
  });
  const node = card("Side by side", field("Compare with", choice), element("p", { className: "small" },
    "Both clips run in step, so that the moments they were made for meet."));
  node.classList.add("no-print");
  return node;
}

function ownCard(clip, name) {
  const keep = element("input", { type: "checkbox", checked: clip.kept });
  keep.addEventListener("change", async () => {
    const { error } = await send("PATCH", `clips/${clip.id}`, { kept: keep.checked });
    if (error) {
      keep.checked = !keep.checked;
      return fail(error);
    }
    say(keep.checked ? "Kept." : "No longer kept.");
  });
  const note = element("textarea", { value: clip.note, maxLength: 500, rows: 2 });
  const saved = element("span", { className: "small" });
  note.addEventListener("input", () => setText(saved, "not saved yet"));
  const remove = async () => {
    if (!(await confirmed("Delete this clip for good?", "Delete clip"))) return;
    if (await done(send("DELETE", `clips/${clip.id}`))) {
      const here = `#/session/${encodeURIComponent(clip.session_id)}`;
      if (location.hash === here) changed();
      else location.hash = here;
    }
  };
  const node = card(`This ${name}`,
    element("p", {}, element("label", { className: "check" }, keep, " Keep it: never removed to make room")),
    field("Note", note),
    element("p", { className: "row" }, button("Save note", async () => {
      if (await done(send("PATCH", `clips/${clip.id}`, { note: note.value }))) setText(saved, "saved");
    }), saved, button(`Delete ${name}`, remove, { className: "danger" })));
  node.dataset.clip = String(clip.id);
  return node;
}
