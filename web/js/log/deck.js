// Plays one clip, or two in step: speed, frames, loop, overlay. The first clip leads.

import { around, element, setText } from "../dom.js";
import { words } from "../language.js";
import { button } from "./parts.js";

/** @import { Clip } from "../api.d.ts" */
/** @import { ClipPlayer } from "./player.js" */

const SPEEDS = /** @type {const} */ ([0.25, 0.5, 1]);
/** While playing, the second clip is put right when it is farther off than about two pictures. */
const DRIFT_S = 0.08;

export class Deck {
  #running = 0;
  #loop = false;
  #leader;
  #players;
  #play = button(words.player.play, () => this.toggle(), { className: "main", id: "play" });
  #speeds = SPEEDS.map((speed) => button(words.player.speeds[speed], () => this.setSpeed(speed), { className: "speed" }));
  #clock = element("span", { className: "deck-clock" });
  #loopBox = check(words.player.loop, false, (on) => { this.#loop = on; });
  #overlayBox = check(words.player.overlay, true, (on) => {
    for (const one of this.#players) one.overlay.hidden = !on;
  });
  #onKey = (/** @type {KeyboardEvent} */ event) => this.#key(event);

  /**
   * @param {ClipPlayer} leader
   * @param {readonly ClipPlayer[]} others
   */
  constructor(leader, others) {
    this.#leader = leader;
    this.#players = [leader, ...others];
    const text = words.player;
    const mirror = check(text.mirrored, false, (on) => {
      for (const one of this.#players) one.video.classList.toggle("mirrored", on);
    });
    const sound = this.#players.some((one) => one.clip.has_sound) ? check(text.sound, true, (on) => this.#sound(on)) : null;
    this.controls = element("section", { className: "deck no-print", attr: { "aria-label": text.title } },
      element("div", { className: "row" }, this.#play, button(text.back, () => this.step(-1), { id: "back", title: text.leftArrow }),
        button(text.forward, () => this.step(1), { id: "forward", title: text.rightArrow }), this.#clock),
      element("div", { className: "row" }, ...this.#speeds),
      element("div", { className: "row" }, this.#loopBox.node, this.#overlayBox.node, mirror.node, sound?.node),
      element("p", { className: "small keys" }, text.keys));
    this.#sound(true);
    this.setSpeed(1);
  }

  begin() {
    document.addEventListener("keydown", this.#onKey);
    for (const one of this.#players) {
      one.video.addEventListener("seeked", () => this.render());
      one.video.addEventListener("loadeddata", () => this.render());
    }
    const { video } = this.#leader;
    video.addEventListener("play", () => this.#run());
    video.addEventListener("pause", () => this.#pauseOthers());
    video.addEventListener("ended", () => {
      if (!this.#loop) return;
      this.seek(0);
      this.start();
    });
    if (this.#players.length > 1) this.seek(0);
    // Opened at what it was made for.
    else this.#leader.seek(this.#leader.key);
    this.render();
  }

  leave() {
    document.removeEventListener("keydown", this.#onKey);
    cancelAnimationFrame(this.#running);
    for (const one of this.#players) {
      one.video.pause();
      one.video.removeAttribute("src");
      one.video.load();
    }
  }

  /** @param {number} speed */
  setSpeed(speed) {
    for (const one of this.#players) {
      one.video.defaultPlaybackRate = speed;
      one.video.playbackRate = speed;
    }
    this.#speeds.forEach((one, i) => one.setAttribute("aria-pressed", String(SPEEDS[i] === speed)));
  }

  toggle() {
    if (this.#leader.video.paused) this.start();
    else this.#leader.video.pause();
  }

  async start() {
    if (this.#leader.time >= this.#leader.duration - 0.03) this.seek(0);
    for (const one of this.#players) {
      try {
        await one.video.play();
      } catch (fault) {
        // Paused before it had begun: the others do not begin without it. A clip at its end, or one without a film,
        // stays where it is.
        if (fault instanceof DOMException && fault.name === "AbortError") return;
      }
    }
  }

  /** @param {number} count */
  step(count) {
    this.#leader.video.pause();
    this.seek(this.#leader.stepped(count));
  }

  /**
   * Seeks all, by a time of this clip.
   * @param {Clip} clip
   * @param {number} time
   */
  seekOf(clip, time) {
    const one = this.#players.find((player) => player.clip === clip);
    if (one) this.seek(time - one.key + this.#leader.key);
  }

  /** @param {number} time */
  seek(time) {
    const at = Math.max(0, Math.min(this.#leader.duration - 0.001, time));
    for (const one of this.#players) one.seek(at - this.#leader.key + one.key);
    this.render();
  }

  render() {
    for (const one of this.#players) one.render();
    setText(this.#clock, words.player.clock(this.#leader.time.toFixed(2), this.#leader.duration.toFixed(2)));
    setText(this.#play, this.#leader.video.paused ? words.player.play : words.player.pause);
  }

  #run() {
    cancelAnimationFrame(this.#running);
    const turn = () => {
      this.render();
      for (const one of this.#players.slice(1)) this.#keepUp(one);
      if (!this.#leader.video.paused) this.#running = requestAnimationFrame(turn);
    };
    turn();
  }

  /** @param {ClipPlayer} one */
  #keepUp(one) {
    const wanted = this.#leader.time - this.#leader.key + one.key;
    const inside = wanted >= 0 && wanted < one.duration;
    if (!inside) one.video.pause();
    else if (one.video.paused && !one.video.seeking && !this.#leader.video.paused) {
      one.seek(wanted);
      one.video.play().catch(() => {});
    } else if (Math.abs(one.time - wanted) > DRIFT_S && !one.video.seeking) one.seek(wanted);
  }

  #pauseOthers() {
    for (const one of this.#players.slice(1)) {
      one.video.pause();
      one.seek(this.#leader.time - this.#leader.key + one.key);
    }
    this.render();
  }

  /** @param {boolean} on */
  #sound(on) {
    // Two sounds at once are none: only the first clip is heard.
    this.#players.forEach((one, i) => { one.video.muted = !on || i > 0; });
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || around(event, "input:not([type=checkbox]), textarea, select, dialog")) return;
    const pressed = around(event, "button, a, input");
    /** @type {Record<string, (() => void) | null>} */
    const acts = {
      " ": pressed ? null : () => this.toggle(), ArrowLeft: () => this.step(-1), ArrowRight: () => this.step(1),
      1: () => this.setSpeed(0.25), 2: () => this.setSpeed(0.5), 3: () => this.setSpeed(1),
      l: () => this.#loopBox.flip(), o: () => this.#overlayBox.flip(),
    };
    const act = acts[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }
}

/**
 * @param {string} label
 * @param {boolean} checked
 * @param {(on: boolean) => void} act
 */
function check(label, checked, act) {
  const box = element("input", { type: "checkbox", checked, onchange: () => act(box.checked) });
  return { node: element("label", { className: "check" }, box, ` ${label}`), flip() {
    box.checked = !box.checked;
    act(box.checked);
  } };
}
