// A session beside another one or a clip, such as the player's best: passage by passage, and whether a difference can be
// told.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { clock, dateAndTime, passageName, percent } from "../format.js";
import { words } from "../language.js";
import { lineName, sized } from "../terms.js";
import { card, table } from "./parts.js";

/** @import { Answer, Clip, Compared, SessionDocument } from "../api.d.ts" */

/** The last choice, which is offered first wherever that session or clip has the same passages. */
const BEST = "posturewatch reference";

/** Before a clip's number, where one is chosen; ids of sessions have no colon. */
const CLIP = "clip:";

/**
 * The card in which another session is chosen; null where no passage of this one is named.
 * @param {SessionDocument} document
 */
export function comparisonCard({ session, passages }) {
  const text = words.comparison;
  const pieces = [...new Set(passages.map((one) => one.piece_id))];
  if (pieces.length === 0 || session.ended_at === null) return null;
  const below = element("div", {});
  const choice = element("select", { id: "compare-with", attr: { "aria-label": text.choose } }, element("option", { value: "" }, text.nothing));
  const show = async () => {
    below.replaceChildren();
    if (choice.value === "") return;
    const chosen = choice.value;
    localStorage.setItem(BEST, chosen);
    /** @type {Answer<Compared>} */
    const { body, error } = await get(`sessions/${encodeURIComponent(session.id)}/comparison?${asked(chosen)}`);
    // An answer that comes after another choice was made is not shown below that choice.
    if (choice.value === chosen) below.replaceChildren(...(body ? shown(body) : [element("p", { className: "fault" }, error)]));
  };
  choice.addEventListener("change", show);
  const node = card(text.title, element("p", {}, text.about), element("p", {}, choice), below);
  node.id = "comparison";
  node.hidden = true;
  fill(choice, session.id, passages).then((some) => {
    node.hidden = !some;
    const best = localStorage.getItem(BEST);
    if (best !== null && [...choice.options].some((one) => one.value === best)) {
      choice.value = best;
      show();
    }
  });
  return node;
}

/** @param {string} chosen */
const asked = (chosen) => (chosen.startsWith(CLIP) ? `clip=${chosen.slice(CLIP.length)}` : `with=${encodeURIComponent(chosen)}`);

/**
 * Offers the other sessions in which these pieces were played, and the clips of these passages, newest first; whether
 * there is one.
 * @param {HTMLSelectElement} choice
 * @param {string} own
 * @param {SessionDocument["passages"]} passages
 */
async function fill(choice, own, passages) {
  const text = words.comparison;
  /** @type {Map<string, string>} */
  const found = new Map();
  /** @type {Clip[]} */
  const clips = [];
  const key = (/** @type {{ piece_id: number, bars: string }} */ one) => `${one.piece_id} ${one.bars.toLowerCase()}`;
  const played = new Set(passages.map(key));
  /** @type {Answer<{ played: { session_id: string, started_at: string }[], clip_list: Clip[] }>[]} */
  const answers = await Promise.all([...new Set(passages.map((one) => one.piece_id))].map((piece) => get(`pieces/${piece}`)));
  for (const { body } of answers) {
    for (const one of body?.played ?? []) if (one.session_id !== own) found.set(one.session_id, one.started_at);
    for (const one of body?.clip_list ?? []) if (one.state === "there" && one.passage !== null && played.has(key(one.passage))) clips.push(one);
  }
  const newest = [...found].sort((a, b) => b[1].localeCompare(a[1]));
  const groups = [
    { label: text.practices, options: newest.map(([id, began]) => element("option", { value: id }, dateAndTime(began))) },
    { label: text.clips, options: clips.map((one) => element("option", { value: `${CLIP}${one.id}` }, clipName(one))) },
  ].filter((group) => group.options.length > 0);
  choice.append(...groups.map((group) => element("optgroup", { attr: { label: group.label } }, ...group.options)));
  return groups.length > 0;
}

/** @param {Clip} clip */
function clipName({ session_started_at: began, start_s: start, passage, note }) {
  const where = passage === null ? "" : passageName(passage);
  return [dateAndTime(began), words.clips.at(clock(start)), where, note].filter(Boolean).join(" · ");
}

/** @param {Compared} compared */
function shown({ parts, clip, same_limits: sameLimits }) {
  const text = words.comparison;
  if (parts.length === 0) return [element("p", {}, text.noneAlike)];
  const rows = parts.flatMap((part) => part.lines.map((line) => {
    const angle = (/** @type {number | null} */ value) => (value === null ? "–" : sized(line.quantity, value));
    const extreme = line.extreme.filter((one) => (one.now ?? 0) > 0 || (one.then ?? 0) > 0).map((one) => `${percent(one.now)} / ${percent(one.then)}`).join(", ");
    return [`${passageName(part)}: ${lineName(line)}`, angle(line.now.median), angle(line.then.median), told(line), extreme || "–"];
  }));
  return [table(text.caption, [text.what, text.now, text.then, text.difference, text.extreme], rows, "wide"),
    element("p", { className: "small" }, [clip === null ? "" : text.short, text.note, sameLimits ? "" : text.otherLimits].filter(Boolean).join(" "))];
}

/** @param {Compared["parts"][number]["lines"][number]} line */
function told({ difference, uncertainty, verdict, now, then }) {
  const text = words.comparison;
  if (verdict === "too little" || difference === null || uncertainty === null) return text.tooLittle(percent(Math.min(now.measured_share ?? 0, then.measured_share ?? 0)));
  const signed = `${difference > 0 ? "+" : difference < 0 ? "−" : ""}${Math.abs(Math.round(difference))}°`;
  return verdict === "differs" ? text.differs(signed, `${Math.round(uncertainty)}°`) : text.tooClose(signed, `${Math.round(uncertainty)}°`);
}
