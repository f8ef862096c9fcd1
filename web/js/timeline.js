// The whole practice in one picture: how long each hand was in which state, what was played, and where the clips are.

import { element, svg } from "./dom.js";
import { clock, passageName } from "./format.js";
import { words } from "./language.js";
import { momentWords, stateKey } from "./terms.js";

/** @import { Clip, KeptPassage, State, Summary } from "./api.d.ts" */

const HEIGHT = 44;
/** From the bottom of a column upwards; what is left above is a hand that was not seen. @type {readonly State[]} */
const STACKED = ["extreme", "beyond", "unsure", "partly", "within"];
/** Clips nearer to each other than this share of the practice are reached through the first of them. */
const CLIP_APART = 0.04;
let nextId = 0;

/**
 * @param {Summary} summary
 * @param {readonly Clip[]} clips
 * @param {readonly KeptPassage[]} passages
 */
export function timelineNode({ timeline, duration_s: total }, clips, passages) {
  const text = words.timeline;
  if (!timeline || timeline.hands.length === 0) return element("p", {}, words.summary.nothingMeasured);
  const found = new Set(timeline.hands.flatMap((hand) => Object.keys(hand.shares).map(stateKey)));
  return element("div", { className: "timeline" },
    ...timeline.hands.map((hand) => row(words.hands[hand.side], columns(hand.shares, text.of(words.hands[hand.side])))),
    clips.length > 0 ? row(words.clips.title, clipMarks(clips, total)) : null,
    passages.length > 0 ? row(words.playing.passages, passageBlocks(passages, total)) : null,
    row("", element("div", { className: "timeline-axis" }, ...[0, 0.25, 0.5, 0.75, 1].map((share) => element("span", {}, clock(share * total))))),
    element("p", { className: "timeline-key" }, ...[...STACKED, /** @type {const} */ ("unseen")].filter((state) => found.has(state)).map((state) => {
      const swatch = svg("svg", { width: 22, height: 16, "aria-hidden": "true" });
      patterned(swatch, [svg("rect", { class: `time-${state}`, x: 1, y: 1, width: 20, height: 14 })]);
      return element("span", {}, swatch, ` ${words.states[state]}`);
    })));
}

/**
 * @param {string} name
 * @param {Node} what
 */
const row = (name, what) => element("div", { className: "timeline-row" }, element("span", { className: "timeline-name" }, name), what);

/**
 * @param {Record<string, number[]>} shares
 * @param {string} label
 */
function columns(shares, label) {
  const byKey = new Map(Object.entries(shares).map(([name, list]) => [stateKey(name), list]));
  const count = [...byKey.values()][0]?.length ?? 0;
  const node = svg("svg", { class: "timeline-hand", height: HEIGHT, width: "100%", role: "img", "aria-label": label });
  const width = 100 / count;
  /** @type {SVGElement[]} */
  const bars = [];
  for (let i = 0; i < count; i += 1) {
    let top = HEIGHT;
    for (const state of STACKED) {
      const height = HEIGHT * (byKey.get(state)?.[i] ?? 0);
      if (height <= 0) continue;
      top -= height;
      bars.push(svg("rect", { class: `time-${state}`, x: `${(i * width).toFixed(3)}%`, width: `${(width + 0.03).toFixed(3)}%`, y: top.toFixed(1), height: height.toFixed(1) }));
    }
  }
  patterned(node, bars);
  return node;
}

/**
 * Puts bars into a drawing, with stripes and dots of its own, so that states differ by more than colour.
 * @param {SVGElement} node
 * @param {readonly SVGElement[]} bars
 */
export function patterned(node, bars) {
  const [stripes, dots] = [`stripes-${(nextId += 1)}`, `dots-${nextId}`];
  const box = { patternUnits: "userSpaceOnUse", width: 6, height: 6 };
  node.append(svg("defs", {},
    svg("pattern", { id: stripes, ...box }, svg("rect", { class: "time-beyond-ground", width: 6, height: 6 }), svg("path", { class: "time-beyond-line", d: "M-1 7 L7 -1 M-1 1 L1 -1 M5 7 L7 5" })),
    svg("pattern", { id: dots, ...box }, svg("circle", { class: "time-dot", cx: 3, cy: 3, r: 1.3 }))), ...bars);
  for (const bar of bars) {
    const state = bar.getAttribute("class");
    if (state === "time-beyond") bar.setAttribute("fill", `url(#${stripes})`);
    if (state === "time-unsure" || state === "time-partly") bar.setAttribute("fill", `url(#${dots})`);
  }
}

/**
 * @param {readonly Clip[]} clips
 * @param {number} total
 */
function clipMarks(clips, total) {
  const node = element("div", { className: "timeline-clips" });
  let last = -Infinity;
  for (const clip of clips) {
    const key = (clip.moments[0]?.start_s ?? clip.start_s) / total;
    if (key - last < CLIP_APART) continue;
    last = key;
    const name = `${words.clips.at(clock(key * total))}: ${clip.moments[0] ? momentWords(clip.moments[0]) : clip.reason}`;
    const mark = element("a", { href: `/log.html#/review/${clip.id}`, title: name, attr: { "aria-label": name } }, "▲");
    mark.style.left = `${Math.min(97, Math.max(3, 100 * key)).toFixed(2)}%`;
    node.append(mark);
  }
  return node;
}

/**
 * @param {readonly KeptPassage[]} passages
 * @param {number} total
 */
function passageBlocks(passages, total) {
  return element("div", { className: "timeline-passages" }, ...passages.map((one) => {
    const end = one.end_s ?? total;
    const block = element("span", { title: passageName(one) }, one.bars ? `${one.bars} · ${one.piece}` : passageName(one));
    block.style.left = `${(100 * one.start_s) / total}%`;
    block.style.width = `${(100 * (end - one.start_s)) / total}%`;
    return block;
  }));
}
