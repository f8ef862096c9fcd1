// One clip: the film, the stored angle drawn over it, and the trace beside it.

import { Dial } from "../dial.js";
import { element, setData, setText } from "../dom.js";
import { dateAndTime, passageName } from "../format.js";
import { words } from "../language.js";
import { SIDES, fingersOnly, lineName, sized, stateOf, wristOnly } from "../terms.js";
import { clipTitle } from "./clips.js";
import { Trace } from "./trace.js";

/** @import { Clip, SampleSeries, Side, SignedLimit } from "../api.d.ts" */
/** @typedef {SampleSeries & { time: number[] }} TimedSeries times in s of the clip */
/** @typedef {(one: { side: Side, quantity: string }) => readonly SignedLimit[]} LimitsFor */

const FRAME_S = 1 / 30;
/** A measurement belongs to a picture at most so far away. */
const NEAR_S = 0.12;

export class ClipPlayer {
  /**
   * samples: of the clip's stretch, see /api/sessions/ID/samples. limitsFor: as the session had them.
   * @param {Clip} clip
   * @param {readonly SampleSeries[]} samples
   * @param {LimitsFor} limitsFor
   * @param {{ onSeek: (time: number) => void, onStep: (count: number) => void }} asked
   */
  constructor(clip, samples, limitsFor, { onSeek, onStep }) {
    this.clip = clip;
    this.limitsFor = limitsFor;
    const told = fingersOnly(samples).filter((one) => limitsFor(one).length > 0 && one.value.some((value) => value !== null));
    /** @type {TimedSeries[]} */
    this.series = [...wristOnly(samples), ...told].map((one) => ({ ...one, time: one.time_s.map((time) => time - clip.start_s) }));
    this.frames = this.series[0]?.time ?? [];
    this.video = element("video", { src: clip.state === "there" ? `/api/clips/${clip.id}/video` : "", preload: "auto", playsInline: true, className: "film",
      attr: { "aria-label": clipTitle(clip) } });
    this.overlay = element("div", { className: "film-overlay", attr: { "aria-hidden": "true" } });
    this.chips = SIDES.map((side) => ({ side, ...chip(side) }));
    this.overlay.append(...this.chips.map((one) => one.node));
    this.trace = new Trace({ onSeek, onStep });
    this.choice = element("select", { attr: { "aria-label": words.player.whichLine }, onchange: () => this.#show() },
      ...this.series.map((one, i) => element("option", { value: String(i) }, lineName(one))));
    this.reading = element("p", { className: "trace-reading" });
    this.choice.value = String(Math.max(0, this.#firstShown()));
    this.screen = element("div", { className: "screen" }, this.video, this.overlay);
    this.node = element("section", { className: "player card" },
      element("h2", {}, clipTitle(clip)),
      element("p", { className: "small" }, `${dateAndTime(clip.session_started_at)} · ${passageName(clip.passage)}`),
      clip.state !== "there" ? element("p", { className: "fault" }, words.player.filmGone) : this.screen,
      element("p", { className: "row" }, this.choice), this.reading, this.trace.node);
    this.#show();
    this.video.addEventListener("loadedmetadata", () => this.#show());
  }

  /** The line of what the clip was made for, else the one measured most. */
  #firstShown() {
    const wanted = this.clip.moments.find((one) => one.kind !== "mark");
    if (wanted) return this.series.findIndex((one) => one.side === wanted.side && one.quantity === wanted.quantity);
    const known = this.series.map((one) => one.value.filter((value) => value !== null).length);
    return known.indexOf(Math.max(...known));
  }

  get #shown() {
    return this.series[Number(this.choice.value)] ?? null;
  }

  get duration() {
    return Number.isFinite(this.video.duration) ? this.video.duration : this.clip.end_s - this.clip.start_s;
  }

  /** Where the moment is that the clip was made for, in seconds of the clip. */
  get key() {
    const [first] = this.clip.moments;
    return first ? Math.max(0, first.start_s - this.clip.start_s) : 0;
  }

  get time() {
    return this.video.currentTime;
  }

  /** @param {number} time */
  seek(time) {
    this.video.currentTime = Math.max(0, Math.min(this.duration - 0.001, time));
    this.render();
  }

  /**
   * The time of the picture so many frames on: in its middle, so that rounding never shows its neighbour.
   * @param {number} count
   */
  stepped(count) {
    if (this.frames.length < 2) return this.time + count * FRAME_S;
    const at = (/** @type {number} */ i) => this.frames[i] ?? 0;
    const next = Math.max(0, Math.min(this.frames.length - 1, this.#frameAt(this.time, this.frames) + count));
    const end = this.frames[next + 1] ?? at(next) + (at(next) - at(next - 1));
    return (Math.max(0, at(next)) + end) / 2;
  }

  /**
   * The last of these times that is not after the time. Fingers are kept at fewer times than the wrist.
   * @param {number} time
   * @param {readonly number[]} frames
   */
  #frameAt(time, frames) {
    let low = 0;
    let high = frames.length - 1;
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if ((frames[middle] ?? Infinity) <= time + 1e-4) low = middle;
      else high = middle - 1;
    }
    return low;
  }

  /**
   * @param {TimedSeries} series
   * @param {number} time
   */
  #valueOf(series, time) {
    if (series.time.length === 0) return null;
    const i = this.#frameAt(time, series.time);
    return Math.abs((series.time[i] ?? Infinity) - time) > NEAR_S ? null : series.value[i] ?? null;
  }

  /**
   * @param {TimedSeries} series
   * @param {number} time
   */
  #spreadOf(series, time) {
    return series.sd[this.#frameAt(time, series.time)] ?? null;
  }

  #show() {
    const series = this.#shown;
    const moments = this.clip.moments.filter((one) => one.kind === "mark" || (series && one.side === series.side && one.quantity === series.quantity))
      .map((one) => ({ start: one.start_s - this.clip.start_s, end: (one.end_s ?? this.clip.end_s) - this.clip.start_s }));
    this.trace.show(series, series ? this.limitsFor(series) : [], this.duration, moments);
    this.render();
  }

  render() {
    const { time } = this;
    const shown = this.#shown;
    const value = shown ? this.#valueOf(shown, time) : null;
    this.trace.move(time, value);
    const told = shown && value !== null ? `${sized(shown.quantity, value)}, ${words.zones[stateOf(value, this.#spreadOf(shown, time), this.limitsFor(shown))]}` : words.zones.unseen;
    setText(this.reading, `${time.toFixed(2)} s · ${told}`);
    for (const one of this.chips) {
      const wrist = shown && shown.group !== "finger" ? shown.quantity : "wrist_flexion";
      const flexion = this.series.find((series) => series.side === one.side && series.quantity === wrist);
      const angle = flexion ? this.#valueOf(flexion, time) : null;
      const spread = flexion ? this.#spreadOf(flexion, time) : null;
      const zone = flexion ? stateOf(angle, spread, this.limitsFor(flexion)) : "unseen";
      one.node.hidden = angle === null && shown?.side !== one.side;
      setData(one.node, "zone", zone);
      setText(one.text, angle === null ? words.zones.unseen : sized(wrist, angle));
      setText(one.zone, angle === null ? "" : words.zones[zone]);
      one.dialOf(wrist, flexion ? this.limitsFor(flexion) : []).move(angle, spread);
    }
  }
}

/**
 * One hand's angle over the picture: a small hand bent by it within its limits, the number and the zone.
 * @param {Side} side
 */
function chip(side) {
  const text = element("b", {});
  const zone = element("span", {});
  const place = element("span", { className: "chip-drawing" });
  let shown = "";
  let dial = new Dial("wrist_flexion", side, []);
  /**
   * The hand for a quantity; another one where that or its limits change.
   * @param {string} quantity
   * @param {readonly SignedLimit[]} limits
   */
  const dialOf = (quantity, limits) => {
    const key = JSON.stringify([quantity, limits]);
    if (key !== shown) {
      dial = new Dial(quantity, side, limits);
      place.replaceChildren(dial.node);
      shown = key;
    }
    return dial;
  };
  return { text, zone, dialOf, node: element("div", { className: "chip", attr: { "data-side": side } }, place,
    element("p", {}, element("span", {}, words.hands[side]), text, zone)) };
}
