// One clip: the film, the stored angle drawn over it, and the trace beside it.

import { element, setData, setText, svg } from "../dom.js";
import { fingersOnly } from "../fingers.js";
import { SIDE_LABEL, wristOnly } from "../words.js";
import { clipTitle } from "./clips.js";
import { dateAndTime, passageName } from "./parts.js";
import { ZONE_WORDS, lineName, sized, zoneOf } from "./quantities.js";
import { Trace } from "./trace.js";

const FRAME_S = 1 / 30;
/** A measurement belongs to a picture at most so far away. */
const NEAR_S = 0.12;

export class ClipPlayer {
  /** samples: of the clip's stretch, see /api/sessions/ID/samples. limits: exposure by side and quantity. */
  constructor(clip, samples, limitsFor, { onSeek, onStep }) {
    this.clip = clip;
    this.limitsFor = limitsFor;
    const taken = samples?.series ?? [];
    const told = fingersOnly(taken).filter((one) => limitsFor(one).length > 0 && one.value.some((value) => value !== null));
    this.series = [...wristOnly(taken), ...told].map((one) => ({ ...one, time: one.time_s.map((time) => time - clip.start_s) }));
    this.frames = this.series[0]?.time ?? [];
    this.video = element("video", { src: clip.state === "there" ? `/api/clips/${clip.id}/video` : "", preload: "auto", playsInline: true, className: "film",
      attr: { "aria-label": clipTitle(clip) } });
    this.overlay = element("div", { className: "film-overlay", attr: { "aria-hidden": "true" } });
    this.chips = new Map(["left", "right"].map((side) => [side, chip(side)]));
    this.overlay.append(...[...this.chips.values()].map((one) => one.node));
    this.trace = new Trace({ onSeek, onStep });
    this.choice = element("select", { attr: { "aria-label": "Which line" }, onchange: () => this.#show() },
      ...this.series.map((one, i) => element("option", { value: String(i) }, lineName(one))));
    this.reading = element("p", { className: "trace-reading" });
    const wanted = clip.moments.find((one) => one.kind !== "mark");
    const most = this.series.map((one) => one.value.filter((value) => value !== null).length);
    const place = wanted ? this.series.findIndex((one) => one.side === wanted.side && one.quantity === wanted.quantity) : most.indexOf(Math.max(...most));
    this.choice.value = String(Math.max(0, place));
    this.screen = element("div", { className: "screen" }, this.video, this.overlay);
    this.node = element("section", { className: "player card" },
      element("h2", {}, clipTitle(clip)),
      element("p", { className: "small" }, `${dateAndTime(clip.session_started_at)} · ${passageName(clip.passage)}`),
      clip.state !== "there" ? element("p", { className: "fault" }, "The film of this clip is not there any more; its angles are.") : this.screen,
      element("p", { className: "row" }, this.choice), this.reading, this.trace.node);
    this.#show();
    this.video.addEventListener("loadedmetadata", () => this.#show());
  }

  get duration() {
    return Number.isFinite(this.video.duration) ? this.video.duration : this.clip.end_s - this.clip.start_s;
  }

  /** Where the moment is that the clip was made for, in seconds of the clip. */
  get key() {
    const first = this.clip.moments[0];
    return first ? Math.max(0, first.start_s - this.clip.start_s) : 0;
  }

  get time() {
    return this.video.currentTime;
  }

  seek(time) {
    this.video.currentTime = Math.max(0, Math.min(this.duration - 0.001, time));
    this.render();
  }

  /** The time of the picture so many frames on: in its middle, so that rounding never shows its neighbour. */
  stepped(count) {
    if (this.frames.length < 2) return this.time + count * FRAME_S;
    const now = this.#frameAt(this.time);
    const next = Math.max(0, Math.min(this.frames.length - 1, now + count));
    const end = this.frames[next + 1] ?? this.frames[next] + (this.frames[next] - this.frames[next - 1]);
    return (Math.max(0, this.frames[next]) + end) / 2;
  }

  /** The last of these times that is not after the time. Fingers are kept at fewer times than the wrist. */
  #frameAt(time, frames = this.frames) {
    let low = 0;
    let high = frames.length - 1;
    while (low < high) {
      const middle = Math.ceil((low + high) / 2);
      if (frames[middle] <= time + 1e-4) low = middle;
      else high = middle - 1;
    }
    return low;
  }

  #valueOf(series, time) {
    if (series.time.length === 0) return null;
    const i = this.#frameAt(time, series.time);
    return Math.abs((series.time[i] ?? Infinity) - time) > NEAR_S ? null : series.value[i] ?? null;
  }

  #show() {
    const series = this.series[Number(this.choice.value)] ?? null;
    const moments = this.clip.moments.filter((one) => one.kind === "mark" || (series && one.side === series.side && one.quantity === series.quantity))
      .map((one) => ({ start: one.start_s - this.clip.start_s, end: (one.end_s ?? this.clip.end_s) - this.clip.start_s }));
    this.trace.show(series, series ? this.limitsFor(series) : [], this.duration, moments);
    this.render();
  }

  render() {
    const time = this.time;
    const shown = this.series[Number(this.choice.value)] ?? null;
    const value = shown ? this.#valueOf(shown, time) : null;
    this.trace.move(time, value);
    const zone = shown ? zoneOf(value, this.limitsFor(shown)) : "unseen";
    setText(this.reading, `${time.toFixed(2)} s · ${value === null ? "not measured" : `${sized(shown.quantity, shown.unit, value)}, ${ZONE_WORDS[zone]}`}`);
    for (const [side, one] of this.chips) {
      const wrist = shown && shown.group !== "finger" ? shown.quantity : "wrist_flexion";
      const flexion = this.series.find((series) => series.side === side && series.quantity === wrist);
      const angle = flexion ? this.#valueOf(flexion, time) : null;
      const state = flexion ? zoneOf(angle, this.limitsFor(flexion)) : "unseen";
      one.node.hidden = angle === null && shown?.side !== side;
      setData(one.node, "zone", state);
      setText(one.text, angle === null ? "not measured" : sized(flexion.quantity, flexion.unit, angle));
      setText(one.zone, angle === null ? "" : ZONE_WORDS[state]);
      one.hand.setAttribute("transform", `rotate(${angle === null ? 0 : (-angle).toFixed(1)} 50 34)`);
      one.hand.setAttribute("visibility", angle === null ? "hidden" : "visible");
    }
  }
}

/** One hand's angle over the picture: a forearm with a hand bent by it, the number and the zone. */
function chip(side) {
  const text = element("b", {});
  const zone = element("span", {});
  const hand = svg("path", { class: "chip-hand", d: "M50 34 H88" });
  const drawing = svg("svg", { viewBox: "0 0 100 68", class: "chip-drawing" }, svg("path", { class: "chip-straight", d: "M50 34 H88" }),
    svg("path", { class: "chip-arm", d: "M8 34 H50" }), hand, svg("circle", { class: "chip-joint", cx: 50, cy: 34, r: 5 }));
  return { text, zone, hand, node: element("div", { className: "chip", attr: { "data-side": side } }, drawing,
    element("p", {}, element("span", {}, SIDE_LABEL[side]), text, zone)) };
}
