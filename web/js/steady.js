// What is shown of something that may flicker from frame to frame. Times are those of the frames, in seconds.

/** @import { State } from "./api.d.ts" */

/** Nothing that is read changes faster than this, save a warning and the loss of comfort. */
export const HOLD_S = 1.5;
/** What filled most of so long a stretch is shown. */
const WINDOW_S = 2.25;

/**
 * A value that is shown: the one that filled most of the last stretch of time.
 * @template {string} T
 */
export class Steady {
  /** @type {{ timeS: number, raw: T }[]} */
  #recent = [];
  /** @type {T | null} */
  #shown = null;
  #since = -Infinity;

  /**
   * The value to show.
   * @param {number} timeS
   * @param {T} raw
   * @returns {T}
   */
  update(timeS, raw) {
    this.take(timeS, raw);
    if (this.#shown === null) return this.set(timeS, raw);
    return timeS - this.#since >= HOLD_S ? this.set(timeS, this.most(timeS)) : this.#shown;
  }

  reset() {
    this.#recent = [];
    this.#shown = null;
    this.#since = -Infinity;
  }

  get shown() {
    return this.#shown;
  }

  /** Since when it has been shown. */
  get since() {
    return this.#since;
  }

  /**
   * @param {number} timeS
   * @param {T} raw
   */
  take(timeS, raw) {
    const last = this.#recent.at(-1);
    if (last && timeS < last.timeS) this.reset();
    this.#recent.push({ timeS, raw });
    while (this.#recent.length > 1 && (this.#recent[1]?.timeS ?? Infinity) <= timeS - WINDOW_S) this.#recent.shift();
  }

  /**
   * @param {number} timeS
   * @param {T} value
   * @returns {T}
   */
  set(timeS, value) {
    if (value !== this.#shown) this.#since = timeS;
    this.#shown = value;
    return value;
  }

  /**
   * Whether it has been this and nothing else for as long.
   * @param {T} value
   * @param {number} timeS
   * @param {number} seconds
   */
  only(value, timeS, seconds) {
    const from = timeS - seconds;
    const first = this.#recent[0];
    return first !== undefined && first.timeS <= from
      && this.#recent.every(({ raw }, i) => raw === value || (this.#recent[i + 1]?.timeS ?? Infinity) <= from);
  }

  /**
   * What filled most of the last stretch, but for these.
   * @param {number} timeS
   * @param {readonly T[]} [but]
   * @returns {T}
   */
  most(timeS, but = []) {
    /** @type {Map<T, number>} */
    const seconds = new Map();
    const from = timeS - WINDOW_S;
    this.#recent.forEach(({ timeS: start, raw }, i) => {
      // The newest frame has lasted no time yet, and counts all the same.
      const spent = Math.max(1e-6, (this.#recent[i + 1]?.timeS ?? timeS) - Math.max(from, start));
      if (!but.includes(raw)) seconds.set(raw, (seconds.get(raw) ?? 0) + spent);
    });
    const [first] = [...seconds].sort((a, b) => b[1] - a[1]);
    return first ? first[0] : /** @type {T} */ (this.#recent.at(-1)?.raw);
  }
}

/**
 * The state of a hand or a finger that is shown. A held extreme is shown at once. Comfort is shown where every frame of
 * the last moments was comfortable, and goes with the first that is not. Nothing is said in the first moments.
 */
export class SteadyState {
  #steady = /** @type {Steady<State>} */ (new Steady());
  #begun = -Infinity;

  /**
   * The state to show, and whether the hand is missing at this very moment.
   * @param {number} timeS
   * @param {State} raw
   * @returns {{ state: State, pending: boolean }}
   */
  update(timeS, raw) {
    this.#steady.take(timeS, raw);
    if (this.#steady.shown === null) {
      this.#steady.set(timeS, "idle");
      this.#begun = timeS;
    }
    const state = this.#next(timeS, raw);
    return { state, pending: raw === "unseen" && state !== "unseen" };
  }

  reset() {
    this.#steady.reset();
  }

  /**
   * @param {number} timeS
   * @param {State} raw
   * @returns {State}
   */
  #next(timeS, raw) {
    const steady = this.#steady;
    const shown = steady.shown ?? "idle";
    if (raw === "held") return steady.set(timeS, "held");
    if (shown === "within" && raw !== "within") return steady.set(timeS, raw === "extreme" || raw === "beyond" ? raw : "unsure");
    if (timeS - steady.since < HOLD_S || timeS - this.#begun < HOLD_S) return shown;
    if (steady.only("within", timeS, HOLD_S)) return steady.set(timeS, "within");
    const most = steady.most(timeS, ["within"]);
    // Comfort that was not without a gap is not claimed; without anything else, it is not sure.
    return steady.set(timeS, most === "within" || most === "held" ? "unsure" : most);
  }
}

/** A number that is shown: it changes after a while, by more than its uncertainty's worth, and comes and goes as a `Steady`. */
export class SteadyNumber {
  #known = /** @type {Steady<"known" | "missing">} */ (new Steady());
  /** @type {number | null} */
  #shown = null;
  #since = -Infinity;
  #step;

  /** @param {number} step smaller changes are not shown */
  constructor(step) {
    this.#step = step;
  }

  /**
   * @param {number} timeS
   * @param {number | null} value
   * @param {boolean} [now] whether to show it whatever was shown: what it belongs to has just changed
   */
  update(timeS, value, now = false) {
    if (timeS < this.#since) this.reset();
    const known = this.#known.update(timeS, value === null ? "missing" : "known") === "known";
    const wanted = known ? value ?? this.#shown : null;
    const differs = wanted === null || this.#shown === null ? wanted !== this.#shown : Math.abs(wanted - this.#shown) >= this.#step;
    if (differs && (now || timeS - this.#since >= HOLD_S)) {
      this.#shown = wanted;
      this.#since = timeS;
    }
    return this.#shown;
  }

  reset() {
    this.#known.reset();
    this.#shown = null;
    this.#since = -Infinity;
  }
}
