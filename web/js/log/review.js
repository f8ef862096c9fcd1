// Watching a clip, or two of them side by side in step; keeping, noting and deleting it.

import { get, send } from "../actions.js";
import { element, setText } from "../dom.js";
import { dateAndTime, timeText } from "../format.js";
import { words } from "../language.js";
import { limitsOf } from "../terms.js";
import { clipTitle } from "./clips.js";
import { Deck } from "./deck.js";
import { button, card, changed, confirmed, done, fail, faultPage, field, head, link, say } from "./parts.js";
import { ClipPlayer } from "./player.js";

/** @import { Answer, Clip, Page, SampleSeries, SessionDocument } from "../api.d.ts" */
/** @import { LimitsFor } from "./player.js" */
/** @typedef {{ clip: Clip, samples: SampleSeries[], limitsFor: LimitsFor }} Loaded */

/**
 * @param {readonly string[]} parts
 * @returns {Promise<Page>}
 */
export async function reviewPage([first = "", second = ""]) {
  const text = words.review;
  const asked = [first, second].filter((one) => /^\d+$/.test(one));
  /** @type {Answer<{ clips: Clip[] }>} */
  const all = await get("clips");
  const answers = await Promise.all(asked.map(load));
  const [leading, ...others] = answers.flatMap((one) => one.body ?? []);
  const fault = all.error ?? answers.find((one) => one.error)?.error;
  if (fault || !leading || !all.body) return faultPage(words.clips.one, fault ?? text.choose);
  /** @type {Deck | null} */
  let deck = null;
  const playerOf = (/** @type {Loaded} */ { clip, samples, limitsFor }) => new ClipPlayer(clip, samples, limitsFor, {
    onSeek: (time) => deck?.seekOf(clip, time), onStep: (count) => deck?.step(count),
  });
  const [leader, followers] = [playerOf(leading), others.map(playerOf)];
  const made = new Deck(leader, followers);
  deck = made;
  const { clip } = leading;
  return {
    title: clipTitle(clip),
    nodes: [
      head(text.title, element("p", {}, link(words.sessions.session, `#/session/${encodeURIComponent(clip.session_id)}`), ` · ${words.clips.at(timeText(clip.start_s))}`)),
      element("div", { className: followers.length > 0 ? "players two" : "players" }, leader.node, ...followers.map((one) => one.node)),
      made.controls,
      compareCard(all.body.clips, clip, others[0]?.clip ?? null),
      ...[leading, ...others].map((one, i) => ownCard(one.clip, others.length === 0 ? "only" : i === 0 ? "first" : "second")),
    ],
    shown: () => made.begin(),
    leave: () => made.leave(),
  };
}

/**
 * @param {string} id
 * @returns {Promise<Answer<Loaded>>}
 */
async function load(id) {
  /** @type {Answer<Clip>} */
  const { body: clip, error } = await get(`clips/${id}`);
  if (!clip) return { body: null, error };
  const address = `sessions/${encodeURIComponent(clip.session_id)}`;
  /** @type {[Answer<{ series: SampleSeries[] }>, Answer<SessionDocument>]} */
  const [samples, kept] = await Promise.all([
    get(`${address}/samples?start_s=${Math.max(0, clip.start_s)}&end_s=${clip.end_s + 0.05}`), get(address)]);
  const limits = new Map((kept.body?.exposure?.session ?? []).map((one) => [`${one.side} ${one.quantity}`, limitsOf(one)]));
  return { body: { clip, samples: samples.body?.series ?? [], limitsFor: (one) => limits.get(`${one.side} ${one.quantity}`) ?? [] }, error: null };
}

/**
 * @param {readonly Clip[]} clips
 * @param {Clip} clip
 * @param {Clip | null} other
 */
function compareCard(clips, clip, other) {
  const text = words.review;
  const others = clips.filter((one) => one.id !== clip.id && one.state === "there");
  if (others.length === 0) return card(text.sideBySide, element("p", {}, text.noOther));
  const choice = element("select", { id: "compare" }, element("option", { value: "" }, text.onlyOne),
    ...others.map((one) => element("option", { value: String(one.id) }, `${dateAndTime(one.session_started_at)}, ${timeText(one.start_s)}: ${clipTitle(one)}`)));
  choice.value = other ? String(other.id) : "";
  choice.addEventListener("change", () => {
    location.hash = choice.value ? `#/review/${clip.id}/${choice.value}` : `#/review/${clip.id}`;
  });
  const node = card(text.sideBySide, field(text.compareWith, choice), element("p", { className: "small" }, text.inStep));
  node.classList.add("no-print");
  return node;
}

/**
 * @param {Clip} clip
 * @param {"only" | "first" | "second"} place
 */
function ownCard(clip, place) {
  const text = words.review;
  const keep = element("input", { type: "checkbox", checked: clip.kept });
  keep.addEventListener("change", async () => {
    const kept = keep.checked;
    const { error } = await send("PATCH", `clips/${clip.id}`, { kept });
    if (!error) return say(kept ? text.kept : text.notKept);
    if (keep.checked === kept) keep.checked = !kept;
    return fail(error);
  });
  const note = element("textarea", { value: clip.note, maxLength: 500, rows: 2 });
  const saved = element("span", { className: "small" });
  note.addEventListener("input", () => setText(saved, text.notSaved));
  const remove = async () => {
    if (!(await confirmed(text.deleteQuestion, text.delete.only))) return;
    if (await done(send("DELETE", `clips/${clip.id}`))) {
      const here = `#/session/${encodeURIComponent(clip.session_id)}`;
      if (location.hash === here) changed();
      else location.hash = here;
    }
  };
  const node = card(text.which[place],
    element("p", {}, element("label", { className: "check" }, keep, ` ${text.keep}`)),
    field(words.note, note),
    element("p", { className: "row" }, button(text.saveNote, async () => {
      const sent = note.value;
      // What was written since is not saved.
      if (await done(send("PATCH", `clips/${clip.id}`, { note: sent })) && note.value === sent) setText(saved, text.saved);
    }), saved, clip.state === "there" ? link(text.download, `/api/clips/${clip.id}/video`, { className: "small-button", download: `posturewatch-clip-${clip.id}.mp4` }) : null,
    button(text.delete[place], remove, { className: "danger" })));
  node.dataset.clip = String(clip.id);
  return node;
}
