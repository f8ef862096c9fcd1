// What is read first of a practice, in twenty seconds: its timeline, the worst holds, and the next thing to work on.

import { element } from "./dom.js";
import { clock, duration, passageName, percent, sentenceCase } from "./format.js";
import { words } from "./language.js";
import { FINGERBOARD_SIDES, byState, labelOf, limitText, quantityOf, refusalHelp, refusalName, sidedLeaning, sized, wristOnly } from "./terms.js";
import { timelineNode } from "./timeline.js";
import { vocabulary } from "./vocabulary.js";

/** @import { Clip, Excursion, Finding, HandTime, State, KeptPassage, Level, SessionDocument, Summary } from "./api.d.ts" */
/** @typedef {{ clips: readonly Clip[], passages: readonly KeptPassage[], finding: SessionDocument["finding"] }} Kept what is kept beside the summary */

const MOST_HOLDS = 3;
/** Of a hand, those that say what it did. @type {readonly State[]} */
const JUDGED = ["within", "beyond", "extreme"];

/**
 * The share of the whole time in which the hand was neither unsure nor only partly seen or not at all.
 * @param {HandTime} time
 */
export function judgedShare({ total_s: totalS, states_s: seconds }) {
  const spent = byState(seconds);
  return totalS > 0 ? JUDGED.reduce((sum, state) => sum + (spent.get(state) ?? 0), 0) / totalS : 0;
}

/**
 * The cards that come first.
 * @param {Summary} summary
 * @param {Kept} kept
 */
export const overview = (summary, kept) => [timelineCard(summary, kept), nextCard(summary, kept), holdsCard(summary, kept)];

/**
 * @param {Summary} summary
 * @param {Kept} kept
 */
export const timelineCard = (summary, { clips, passages }) => card(words.timeline.title, timelineNode(summary, clips, passages));

/** @param {Excursion} one */
const pastOf = (one) => one.past_s ?? 0;

/**
 * Its time past the limit, where it is known.
 * @param {Excursion | undefined} one
 */
export const pastText = (one) => (typeof one?.past_s === "number" ? duration(one.past_s) : "–");

/**
 * Holds of a wrist past a limit, first that which was past it longest.
 * @param {Summary} summary
 * @param {Level} level
 */
export function holds(summary, level) {
  return summary.excursions.filter((one) => one.hold && one.level === level && quantityOf(one.quantity).group === "wrist")
    .sort((a, b) => pastOf(b) - pastOf(a));
}

/**
 * Of the holds of one kind that which was past its limit longest: what is called the longest hold everywhere.
 * @param {readonly Excursion[]} excursions
 * @param {Pick<Excursion, "side" | "quantity" | "direction" | "level">} kind
 */
export function longestHold(excursions, { side, quantity, direction, level }) {
  return excursions.filter((one) => one.hold && one.side === side && one.quantity === quantity && one.direction === direction && one.level === level)
    .sort((a, b) => pastOf(b) - pastOf(a))[0];
}

/**
 * The clip in which the beginning of a hold is seen.
 * @param {Excursion} hold
 * @param {readonly Clip[]} clips
 */
const clipOf = (hold, clips) => clips.find((one) => one.state === "there" && one.start_s <= hold.peak_s && hold.peak_s < one.end_s)
  ?? clips.find((one) => one.state === "there" && one.start_s <= hold.start_s && hold.start_s < one.end_s);

/**
 * @param {Summary} summary
 * @param {Kept} kept
 */
export function holdsCard(summary, { clips }) {
  const text = words.overview;
  const extreme = holds(summary, "extreme");
  const shown = together(extreme.length > 0 ? extreme : holds(summary, "comfort")).slice(0, MOST_HOLDS);
  if (shown.length === 0) return null;
  const level = /** @type {Level} */ (extreme.length > 0 ? "extreme" : "comfort");
  return card(text.holds(words.limits[level]), element("ol", { className: "holds" }, ...shown.map(([hold, ...others]) => {
    const clip = clipOf(hold, clips);
    const about = element("p", {}, element("b", {}, pastText(hold)), ` ${text.past(clock(hold.start_s))}`,
      ...[hold, ...others].flatMap((one) => [element("br"), `${sidedLeaning(one)}, ${text.peak(sized(one.quantity, one.peak))}`]));
    if (!clip) return element("li", {}, about, element("p", { className: "small" }, text.notFilmed));
    const picture = element("img", { src: `/api/clips/${clip.id}/picture?time_s=${hold.peak_s}`, loading: "lazy", alt: text.pictureOf(clock(hold.peak_s)), className: "hold-picture" });
    return element("li", {}, element("a", { href: `/log.html#/review/${clip.id}`, className: "hold-link" }, picture, about));
  })));
}

/**
 * Holds of one hand at the same time are one moment, told of once: the longest, and what else was held then.
 * @param {readonly Excursion[]} sorted the longest first
 */
function together(sorted) {
  /** @type {[Excursion, ...Excursion[]][]} */
  const moments = [];
  for (const one of sorted) {
    const same = moments.find(([first, ...others]) => first.side === one.side && one.start_s < (first.end_s ?? Infinity) && first.start_s < (one.end_s ?? Infinity)
      && [first, ...others].every((other) => other.quantity !== one.quantity));
    if (same) same.push(one);
    else moments.push([one]);
  }
  return moments;
}

/**
 * What players and teachers commonly try first against it.
 * @param {string} direction
 */
export function tryNode(direction) {
  const [first] = words.guide.cards.find((one) => one.id === direction)?.tried ?? [];
  return first ? element("p", { className: "try" }, element("b", {}, `${words.finding.tryFirst} `), first) : null;
}

/**
 * @param {Summary} summary
 * @param {Kept} kept
 */
export function nextCard(summary, { clips, finding }) {
  const node = finding ? [element("p", { className: "next" }, findingText(finding)), tryNode(finding.direction)] : nextWithoutPassages(summary, clips);
  const made = card(words.finding.title, ...node);
  made.id = "next-step";
  return made;
}

/** @param {Finding} finding */
export function findingText(finding) {
  const { said } = words.finding;
  const { unit } = quantityOf(finding.quantity);
  return said === null ? finding.sentence : said({ what: sidedLeaning(finding), share: percent(finding.share),
    where: passageName({ piece: finding.piece, bars: finding.part }), limit: limitText((unit === "mm" ? finding.limit_mm : finding.limit_deg) ?? NaN, unit),
    nowhere: finding.highest_elsewhere === null ? null : percent(Math.max(0.01, finding.highest_elsewhere)), elsewhere: percent(finding.share_elsewhere) });
}

/**
 * What to do where no passage stands out: the kind of hold that was longest past its limit in all, or the view of the camera.
 * @param {Summary} summary
 * @param {readonly Clip[]} clips
 */
function nextWithoutPassages(summary, clips) {
  const text = words.overview;
  const judged = Math.min(...summary.hands.filter((one) => FINGERBOARD_SIDES.includes(one.side)).map(judgedShare));
  const hardlyJudged = judged >= vocabulary.enough_share ? null : element("p", { className: "next" }, text.hardlyJudged);
  for (const level of /** @type {const} */ (["extreme", "comfort"])) {
    /** @type {Map<string, Excursion[]>} */
    const kinds = new Map();
    for (const one of holds(summary, level)) {
      const kind = [one.side, one.quantity, one.direction].join(" ");
      kinds.set(kind, [...(kinds.get(kind) ?? []), one]);
    }
    const sum = (/** @type {readonly Excursion[]} */ list) => list.reduce((spent, one) => spent + pastOf(one), 0);
    const [most] = [...kinds.values()].sort((a, b) => sum(b) - sum(a));
    const [longest] = most ?? [];
    if (!most || !longest) continue;
    const clip = clipOf(longest, clips);
    return [element("p", { className: "next" }, text.next(sidedLeaning(longest), words.limits[level], most.length, pastText(longest), clock(longest.start_s))), hardlyJudged ?? tryNode(longest.direction),
      element("p", { className: "row" }, clip ? link(text.watch, `/log.html#/review/${clip.id}`) : null, link(words.finding.meaning, `/log.html#/guide/${longest.direction}`))];
  }
  const [least] = wristOnly(summary.quantities).filter((one) => FINGERBOARD_SIDES.includes(one.side)).sort((a, b) => (a.measured_share ?? 0) - (b.measured_share ?? 0));
  if (least && (least.measured_share ?? 0) >= vocabulary.enough_share) {
    return [hardlyJudged ?? element("p", { className: "next" }, text.nothingHeld)];
  }
  const [reason] = Object.entries(least?.unseen_s ?? {}).sort((a, b) => b[1] - a[1]).map(([name]) => name);
  return [element("p", { className: "next" }, text.seeMore(least ? labelOf(least.quantity) : "", percent(least?.measured_share ?? 0)),
    reason ? ` ${sentenceCase(refusalName(reason))}. ${refusalHelp(reason)}` : "")];
}

/**
 * @param {string} text
 * @param {string} href
 */
const link = (text, href) => element("a", { href, className: "bar-button small-button" }, text);

/**
 * @param {string} title
 * @param {...(Node | null)} children
 */
const card = (title, ...children) => element("section", { className: "card" }, element("h2", {}, title), ...children);
