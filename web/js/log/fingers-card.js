// The fingers of a session: of each hand, and by passage.

import { element } from "../dom.js";
import { passageName, percent } from "../format.js";
import { FINGER_CAUTIONS, LEAST_SHARE, fingerGroup, fingersMeasured } from "../finger-group.js";
import { words } from "../language.js";
import { SIDES, cueLabel, fingersOnly } from "../terms.js";
import { levelOf, lineColumn, worstLines } from "./lines.js";
import { fold, link, named, table } from "./parts.js";

/** @import { Answer, CueShare, Part, Summary } from "../api.d.ts" */

const MOST_LINES = 2;
const MOST_CUES = 2;

/**
 * @param {Answer<Summary>} summary
 * @param {readonly Part[]} parts
 */
export function fingersCard({ body, error }, parts) {
  const { title } = words.fingers;
  if (!body) return fold(title, element("p", { className: "fault" }, error));
  const node = fold(title, element("div", { className: "summary-columns" }, ...SIDES.map((side) => fingerGroup(body, side, words.hands[side]))),
    ...(fingersMeasured(body) ? [byPassage(parts), ...FINGER_CAUTIONS.map((text) => element("p", { className: "small" }, text)),
      element("p", {}, link(words.fingers.lift, "/finger-lift.svg"))] : []));
  node.id = "fingers";
  return node;
}

/**
 * Of each passage, the lines and the cues of fingers that stand out most in any of them.
 * @param {readonly Part[]} parts
 */
function byPassage(parts) {
  const lines = worstLines(parts.map((part) => fingersOnly(part.exposure))).slice(0, MOST_LINES);
  /** @type {Map<string, CueShare>} */
  const most = new Map();
  for (const cue of parts.flatMap((part) => part.cues)) {
    const key = JSON.stringify([cue.side, cue.cue]);
    const share = cue.certain_share ?? 0;
    if (share >= LEAST_SHARE && share > (most.get(key)?.certain_share ?? 0)) most.set(key, cue);
  }
  const cues = [...most.values()].sort((a, b) => (b.certain_share ?? 0) - (a.certain_share ?? 0)).slice(0, MOST_CUES);
  if (lines.length + cues.length === 0) return null;
  const columns = [...lines.map(lineColumn), ...cues.map((cue) => words.fingers.cueColumn(words.sided(cue.side, cueLabel(cue)), cue.share_of))];
  return table(words.fingers.byPassage, [words.playing.passage, ...columns], parts.map((part) => [named(passageName(part)),
    ...lines.map((line) => percent(levelOf(part.exposure, line)?.share ?? null)),
    ...cues.map((cue) => percent(part.cues.find((one) => one.side === cue.side && one.cue === cue.cue)?.certain_share ?? null))]));
}
