// Clips as a list: what each shows, where it belongs, and the way to watch it.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { bytes, dateAndTime, duration, passageName, sentenceCase, timeText } from "../format.js";
import { words } from "../language.js";
import { momentWords } from "../terms.js";
import { faultPage, head, link } from "./parts.js";

/** @import { Answer, Clip, Page } from "../api.d.ts" */

/** @param {Clip} clip */
export function clipTitle(clip) {
  const shown = [...new Set(clip.moments.map(momentWords))];
  return sentenceCase(shown.length > 0 ? shown.join("; ") : clip.reason);
}

/**
 * withSession: says of which session each clip is, instead of numbering those of one.
 * @param {readonly Clip[]} clips
 * @param {string} none
 * @param {boolean} [withSession]
 */
export function clipList(clips, none, withSession = false) {
  if (clips.length === 0) return element("p", {}, none);
  return element("ol", { className: "clips" }, ...clips.map((clip, i) => {
    const name = withSession ? clipTitle(clip) : words.clips.numbered(i + 1, clipTitle(clip));
    const facts = [withSession ? dateAndTime(clip.session_started_at) : "", words.clips.at(timeText(clip.start_s)), duration(clip.end_s - clip.start_s),
      clip.passage ? passageName(clip.passage) : "", clip.state === "there" ? bytes(clip.bytes) : words.clips[clip.state],
      clip.kept ? words.clips.kept : ""].filter(Boolean);
    return element("li", { attr: { "data-state": clip.state } },
      clip.state === "there" ? element("a", { href: `#/review/${clip.id}`, tabIndex: -1, attr: { "aria-hidden": "true" } },
        element("img", { src: `/api/clips/${clip.id}/picture`, loading: "lazy", alt: "", className: "hold-picture" })) : null,
      link(name, `#/review/${clip.id}`, { className: "clip-name" }),
      element("p", { className: "small" }, facts.map((one) => one.replaceAll(/(?<=\d) (?=\D)/g, "\u00a0")).join(" · ")),
      clip.note ? element("p", {}, clip.note) : null);
  }));
}

/** @returns {Promise<Page>} */
export async function clipsPage() {
  /** @type {Answer<{ clips: Clip[] }>} */
  const { body, error } = await get("clips");
  if (!body) return faultPage(words.clips.title, error);
  return {
    title: words.clips.title,
    nodes: [head(words.clips.title, element("p", {}, words.clips.about)), clipList(body.clips, words.clips.none, true)],
  };
}
