// Sentences of the program in the language of the page. The program says them in English; a catalogue has others by the
// English wording, with {} for what is put in. One that it lacks stays as it is.

import { words } from "./language.js";

const GAP = /\\\{[a-z]*\\\}/;
const PATTERNS = Object.entries(words.sentences).map(([english, other]) => {
  const parts = english.replaceAll(/[.*+?^${}()|[\]\\]/g, String.raw`\$&`).split(GAP);
  return { pattern: new RegExp(`^${parts.join("(.*?)")}$`, "s"), other };
});

/**
 * @param {string} sentence
 * @returns {string}
 */
export function translated(sentence) {
  for (const { pattern, other } of PATTERNS) {
    const found = pattern.exec(sentence);
    // What is put in may be the program's own words, too: another sentence, or a list of them.
    const gaps = found?.slice(1).map((gap) => {
      const whole = translated(gap);
      return whole === gap ? gap.split(", ").map(translated).join(", ") : whole;
    }) ?? [];
    if (found) return other.replaceAll(/\{[a-z]*\}/g, () => gaps.shift() ?? "");
  }
  return words.terms.signs[sentence] ?? sentence;
}
