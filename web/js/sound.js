// A soft two-note sound for a warning, and whether it is muted (remembered where the browser allows it).

import { recall, remember } from "./kept.js";

const KEY = "posturewatch.muted";
/** Hertz, and seconds after the first. @type {readonly (readonly [number, number])[]} */
const NOTES = [[523.25, 0], [392.0, 0.38]];
const LOUDNESS = 0.22;

export class Sound {
  /** @type {AudioContext | null} */
  #context = null;
  #onChange;

  /** @param {() => void} onChange */
  constructor(onChange) {
    this.muted = recall(KEY);
    this.#onChange = onChange;
    // Browsers let a page sound only after a click or a key. The whole click, not its beginning: the hint goes
    // then, what stands below moves, and a button would slip away from under the finger.
    for (const kind of ["click", "keydown"]) {
      document.addEventListener(kind, () => this.#allow(), { capture: true });
    }
  }

  /** False until the browser lets this page sound. */
  get allowed() {
    return this.#context !== null && this.#context.state === "running";
  }

  /** @param {boolean} muted */
  setMuted(muted) {
    this.muted = muted;
    remember(KEY, muted);
    this.#onChange();
  }

  warn() {
    const context = this.#context;
    if (this.muted || context === null || !this.allowed) return;
    for (const [hertz, afterS] of NOTES) note(context, hertz, context.currentTime + afterS);
  }

  async #allow() {
    if (!("AudioContext" in window)) return;
    this.#context ??= new AudioContext();
    if (this.#context.state === "suspended") await this.#context.resume();
    this.#onChange();
  }
}

/**
 * @param {AudioContext} context
 * @param {number} hertz
 * @param {number} at
 */
function note(context, hertz, at) {
  const tone = new OscillatorNode(context, { type: "sine", frequency: hertz });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(LOUDNESS, at + 0.06);
  gain.gain.exponentialRampToValueAtTime(0.001, at + 0.9);
  tone.connect(gain).connect(context.destination);
  tone.start(at);
  tone.stop(at + 1);
}
