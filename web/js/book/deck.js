// Plays one clip, or two in step: speed, frames, loop, overlay. The first clip leads.

import { element, setText } from "../dom.js";
import { button } from "./parts.js";

const SPEEDS = [[0.25, "¼ speed"], [0.5, "½ speed"], [1, "Full speed"]];
/** While playing, the second clip is put right when it is farther off than about two pictures. */
const DRIFT_S = 0.08;

export class Deck {
  #running = 0;

  constructor(players) {
    this.players = players;
    [this.leader] = players;
    this.speed = 1;
    this.loop = false;
    this.play = button("Play", () => this.toggle(), { className: "main", id: "play" });
    this.speeds = SPEEDS.map(([speed, label]) => button(label, () => this.setSpeed(speed), { className: "speed" }));
    this.clock = element("span", { className: "deck-clock" });
    this.loopBox = check("Loop", false, (on) => { this.loop = on; });
    this.overlayBox = check("Angle over the picture", true, (on) => {
      for (const one of players) one.overlay.hidden = !on;
    });
    const mirror = check("Mirrored", false, (on) => {
      for (const one of players) one.video.classList.toggle("mirrored", on);
    });
    const sound = players.some((one) => one.clip.has_sound) ? check("Sound", true, (on) => this.#sound(on)) : null;
    this.controls = element("section", { className: "deck no-print", attr: { "aria-label": "Player" } },
      element("div", { className: "row" }, this.play, button("‹ Frame", () => this.step(-1), { id: "back", title: "Left arrow" }),
        button("Frame ›", () => this.step(1), { id: "forward", title: "Right arrow" }), this.clock),
      element("div", { className: "row" }, ...this.speeds),
      element("div", { className: "row" }, this.loopBox.node, this.overlayBox.node, mirror.node, sound?.node),
      element("p", { className: "small keys" }, "Keys: Space plays and pauses, ← and → step, 1, 2 and 3 set the speed, L loops, O shows the angle."));
    this.#sound(true);
    this.setSpeed(1);
    this.onKey = (event) => this.#key(event);
  }

  begin() {
    document.addEventListener("keydown", this.onKey);
    for (const one of this.players) {
      one.video.addEventListener("seeked", () => this.render());
      one.video.addEventListener("loadeddata", () => this.render());
    }
    const video = this.leader.video;
    video.addEventListener("play", () => this.#run());
    video.addEventListener("pause", () => this.#pauseOthers());
    video.addEventListener("ended", () => {
      if (!this.loop) return;
      this.seek(0);
      this.start();
    });
    if (this.players.length > 1) this.seek(0);
    this.render();
  }

  leave() {
    document.removeEventListener("keydown", this.onKey);
    cancelAnimationFrame(this.#running);
    for (const one of this.players) {
      one.video.pause();
      one.video.removeAttribute("src");
      one.video.load();
    }
  }

  setSpeed(speed) {
    this.speed = speed;
    for (const one of this.players) {
      one.video.defaultPlaybackRate = speed;
      one.video.playbackRate = speed;
    }
    this.speeds.forEach((one, i) => one.setAttribute("aria-pressed", String(SPEEDS[i][0] === speed)));
  }

  toggle() {
    if (this.leader.video.paused) this.start();
    else this.leader.video.pause();
  }

  async start() {
    if (this.leader.time >= this.leader.duration - 0.03) this.seek(0);
    for (const one of this.players) {
      try {
        await one.video.play();
      } catch {
        // A clip at its end, or one without a film, stays where it is.
      }
    }
  }

  step(count) {
    this.leader.video.pause();
    this.seek(this.leader.stepped(count));
  }

  /** Seeks all, by a time of this clip. */
  seekOf(clip, time) {
    const one = this.players.find((player) => player.clip === clip);
    this.seek(time - one.key + this.leader.key);
  }

  seek(time) {
    const at = Math.max(0, Math.min(this.leader.duration - 0.001, time));
    for (const one of this.players) one.seek(at - this.leader.key + one.key);
    this.render();
  }

  render() {
    for (const one of this.players) one.render();
    setText(this.clock, `${this.leader.time.toFixed(2)} of ${this.leader.duration.toFixed(2)} s`);
    setText(this.play, this.leader.video.paused ? "Play" : "Pause");
  }

  #run() {
    cancelAnimationFrame(this.#running);
    const turn = () => {
      this.render();
      for (const one of this.players.slice(1)) this.#keepUp(one);
      if (!this.leader.video.paused) this.#running = requestAnimationFrame(turn);
    };
    turn();
  }

  #keepUp(one) {
    const wanted = this.leader.time - this.leader.key + one.key;
    const inside = wanted >= 0 && wanted < one.duration;
    if (!inside) one.video.pause();
    else if (one.video.paused && !one.video.seeking && !this.leader.video.paused) {
      one.seek(wanted);
      one.video.play().catch(() => {});
    } else if (Math.abs(one.time - wanted) > DRIFT_S && !one.video.seeking) one.seek(wanted);
  }

  #pauseOthers() {
    for (const one of this.players.slice(1)) {
      one.video.pause();
      one.seek(this.leader.time - this.leader.key + one.key);
    }
    this.render();
  }

  #sound(on) {
    // Two sounds at once are none: only the first clip is heard.
    this.players.forEach((one, i) => { one.video.muted = !on || i > 0; });
  }

  #key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input:not([type=checkbox]), textarea, select, dialog")) return;
    const pressed = event.target.closest("button, a, input");
    const act = {
      " ": pressed ? null : () => this.toggle(), ArrowLeft: () => this.step(-1), ArrowRight: () => this.step(1),
      1: () => this.setSpeed(0.25), 2: () => this.setSpeed(0.5), 3: () => this.setSpeed(1),
      l: () => this.loopBox.flip(), o: () => this.overlayBox.flip(),
    }[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }
}

function check(label, checked, act) {
  const box = element("input", { type: "checkbox", checked, onchange: () => act(box.checked) });
  return { node: element("label", { className: "check" }, box, ` ${label}`), flip() {
    box.checked = !box.checked;
    act(box.checked);
  } };
}
