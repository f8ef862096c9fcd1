// Clips as a list: what each shows, where it belongs, and the way to watch it.

import { get } from "../actions.js";
import { element } from "../dom.js";
import { duration, sentenceCase } from "../words.js";
import { bytes, dateAndTime, faultPage, head, link, passageName, timeText } from "./parts.js";
import { momentWords } from "./quantities.js";

const GONE = { missing: "the film is missing", removed: "removed to make room for newer clips" };

export function clipTitle(clip) {
  const words = [...new Set(clip.moments.map(momentWords))];
  return sentenceCase(words.length > 0 ? words.join("; ") : clip.reason);
}

/** withSession: says of which session each clip is, instead of numbering those of one. */
export function clipList(clips, none, withSession = false) {
  if (clips.length === 0) return element("p", {}, none);
  return element("ol", { className: "clips" }, ...clips.map((clip, i) => {
    const there = clip.state === "there";
    const name = withSession ? clipTitle(clip) : `Clip ${i + 1} · ${clipTitle(clip)}`;
    const facts = [withSession ? dateAndTime(clip.session_started_at) : null, `at ${timeText(clip.start_s)}`, duration(clip.end_s - clip.start_s),
      clip.passage ? passageName(clip.passage) : null, there ? bytes(clip.bytes) : GONE[clip.state], clip.kept ? "kept" : null].filter(Boolean);
    return element("li", { attr: { "data-state": clip.state } },
      link(name, `#/review/${clip.id}`, { className: "clip-name" }),
      element("p", { className: "small" }, facts.map((one) => one.replaceAll(/(?<=\d) (?=\D)/g, "\u00a0")).join(" · ")),
      clip.note ? element("p", {}, clip.note) : null);
  }));
}

export async function clipsPage() {
  const { body, error } = await get("clips");
  if (error) return faultPage("Clips", error);
  return {
    title: "Clips",
    nodes: [head("Clips", element("p", {}, "Short films of held extreme angles and of your marks, newest first. The oldest make room for "
      + "new ones; those that you keep stay.")),
      clipList(body.clips, "There are no clips yet. While you practise, held extreme angles and your marks become short films.", true)],
  };
}
