// What is shown of something that may flicker from frame to frame. Times are those of the frames, in seconds.

/** Nothing that is read changes faster than this, save a warning. */
export const HOLD_S = 1.5;
/** Of the last `HOLD_S`, so much has to be comfortable before comfort is claimed. */
const COMFORT_SHARE = 0.9;

/**
 * A state that is shown: the one that filled most of the last stretch of time. Comfort is only shown where it filled
 * nearly all of it; a held extreme is shown at once.
 * @template {string} T
 */
export class Steady {
  /** @type {{ timeS: number, raw: T }[]} */
  #recent = [];
  /** @type {T | null} */
  #shown = null;
  #since = -Infinity;
  #holdS;

  /** @param {number} [holdS] */
  constructor(holdS = HOLD_S) {
    this.#holdS = holdS;
  }

  /**
   * The state to show, and whether what it tells of is missing at this very moment.
   * @param {number} timeS
   * @param {T} raw
   * @returns {{ state: T, pending: boolean }}
   */
  update(timeS, raw) {
    const last = this.#recent.at(-1);
    if (last && timeS < last.timeS) this.reset();
    this.#recent.push({ timeS, raw });
    while (this.#recent.length > 1 && (this.#recent[1]?.timeS ?? Infinity) <= timeS - this.#holdS) this.#recent.shift();
    const shown = this.#shown ?? raw;
    if (this.#shown === null || raw === "held") this.#show(raw, timeS);
    else if (timeS - this.#since >= this.#holdS) {
      const next = this.#most(timeS);
      if (next !== shown) this.#show(next, timeS);
    }
    const state = this.#shown ?? raw;
    return { state, pending: raw === "unseen" && state !== "unseen" };
  }

  reset() {
    this.#recent = [];
    this.#shown = null;
    this.#since = -Infinity;
  }

  /**
   * @param {T} state
   * @param {number} timeS
   */
  #show(state, timeS) {
    if (state !== this.#shown) this.#since = timeS;
    this.#shown = state;
  }

  /** @param {number} timeS */
  #most(timeS) {
    /** @type {Map<T, number>} */
    const seconds = new Map();
    const from = timeS - this.#holdS;
    this.#recent.forEach(({ timeS: start, raw }, i) => {
      const end = this.#recent[i + 1]?.timeS ?? timeS;
      // The newest frame has lasted no time yet, and counts all the same.
      seconds.set(raw, (seconds.get(raw) ?? 1e-6) + Math.max(0, end - Math.max(from, start)));
    });
    const total = [...seconds.values()].reduce((sum, one) => sum + one, 0);
    const ordered = [...seconds].sort((a, b) => b[1] - a[1]);
    const [state = /** @type {T} */ ("")] = (ordered.find(([raw, spent]) => raw !== "within" || spent >= COMFORT_SHARE * total) ?? ordered[0] ?? []);
    return state;
  }
}

/** A number that is shown: it changes after a while, by more than its last digit's worth, and goes after a while. */
export class SteadyNumber {
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
    const due = now || this.#shown === null || timeS - this.#since >= HOLD_S;
    const differs = value === null || this.#shown === null ? value !== this.#shown : Math.abs(value - this.#shown) >= this.#step;
    if (due && differs) {
      this.#shown = value;
      this.#since = timeS;
    }
    return this.#shown;
  }

  reset() {
    this.#shown = null;
    this.#since = -Infinity;
  }
}
