// What is shown of something that may flicker from frame to frame. Times are those of the frames, in seconds.

/** @import { State } from "./api.d.ts" */

/** Nothing that is read changes faster than this, save a warning and the loss of comfort. */
export const HOLD_S = 1.5;
/** What filled most of so long a stretch is shown. */
const WINDOW_S = 2.25;
/** A word for a hand stays longer, so that it changes a few times a minute: until another filled most of as long a
 * stretch, or hardly anything of it is left. Comfort and strain that stay without a gap come sooner, and so does a hand
 * that has clearly gone or come back, an angle that has eased, and what stands where comfort was lost. */
export const WORD_HOLD_S = 8;
const PRESENCE_HOLD_S = 4;
const PRESENT_S = 3.5;
/** Of a number's being there: what is not measured any more does not stay for as long as a word. */
export const NUMBER_HOLD_S = 4;
const MOST_OF = 0.7;
const HARDLY_ANY = 0.15;
/** @type {readonly State[]} */
export const STRAINED = ["beyond", "extreme", "held"];
/** @type {readonly State[]} */
const NOT_STRAINED = ["within", "unsure", "partly", "unseen"];
/** @type {readonly State[]} */
const SEEN = [...STRAINED, "within", "unsure", "partly"];

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
  #windowS;

  /** @param {number} [windowS] how much of the past counts */
  constructor(windowS = WINDOW_S) {
    this.#windowS = windowS;
  }

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
    while (this.#recent.length > 1 && (this.#recent[1]?.timeS ?? Infinity) <= timeS - this.#windowS) this.#recent.shift();
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
   * Whether it has been one of these and nothing else for as long.
   * @param {readonly T[]} values
   * @param {number} timeS
   * @param {number} seconds
   */
  only(values, timeS, seconds) {
    const from = timeS - seconds;
    const first = this.#recent[0];
    return first !== undefined && first.timeS <= from
      && this.#recent.every(({ raw }, i) => values.includes(raw) || (this.#recent[i + 1]?.timeS ?? Infinity) <= from);
  }

  /**
   * What filled most of the last stretch.
   * @param {number} timeS
   * @returns {T}
   */
  most(timeS) {
    return this.seconds(timeS)[0]?.[0] ?? /** @type {T} */ (this.#recent.at(-1)?.raw);
  }

  /**
   * How long each value lasted in the last stretch, the longest first.
   * @param {number} timeS
   * @param {number} [windowS]
   */
  seconds(timeS, windowS = this.#windowS) {
    /** @type {Map<T, number>} */
    const found = new Map();
    const from = timeS - windowS;
    this.#recent.forEach(({ timeS: start, raw }, i) => {
      // The newest frame has lasted no time yet, and counts all the same.
      const spent = Math.max(i + 1 < this.#recent.length ? 0 : 1e-6, (this.#recent[i + 1]?.timeS ?? timeS) - Math.max(from, start));
      if (spent > 0) found.set(raw, (found.get(raw) ?? 0) + spent);
    });
    return [...found].sort((a, b) => b[1] - a[1]);
  }
}

/**
 * The state of a hand or a finger that is shown. A held extreme is shown at once. Comfort is shown where every frame of
 * the last moments was comfortable, and goes with the first that is not. An angle that stayed past a limit for as long
 * is shown as soon, whatever came before; where it has eased, and where a hand went or came
 * back, a little later. Nothing is said in the first moments.
 */
export class SteadyState {
  #steady = /** @type {Steady<State>} */ (new Steady(WORD_HOLD_S));
  #begun = -Infinity;
  /** Whether "unsure" is shown because comfort went, whatever it went for. */
  #lost = false;

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
    const before = this.#steady.shown;
    const state = this.#steady.set(timeS, this.#next(timeS, raw));
    if (state !== before) this.#lost = before === "within";
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
    if (raw === "held") return "held";
    if (shown === "within" && raw !== "within") return raw === "extreme" || raw === "beyond" ? raw : "unsure";
    if (timeS - steady.since < HOLD_S || timeS - this.#begun < HOLD_S) return shown;
    if (steady.only(["within"], timeS, HOLD_S)) return "within";
    // A strain without a gap waits for no word beside it: the number past its limit stands there already.
    if (steady.only(["extreme"], timeS, HOLD_S)) return "extreme";
    if (!STRAINED.includes(shown) && steady.only(STRAINED, timeS, HOLD_S)) return "beyond";
    const word = this.#word(timeS, shown);
    // Of a hand that has just come it is not said that it was not there.
    return shown === "idle" && word === "unseen" && raw !== "unseen" ? shown : word;
  }

  /**
   * How much of the last seconds was strain of any kind.
   * @param {number} timeS
   * @param {number} seconds
   */
  #strained(timeS, seconds) {
    return this.#steady.seconds(timeS, seconds).reduce((sum, [state, lasted]) => sum + (STRAINED.includes(state) ? lasted : 0), 0);
  }

  /**
   * Of anything but a warning and comfort.
   * @param {number} timeS
   * @param {State} shown
   * @returns {State}
   */
  #word(timeS, shown) {
    const steady = this.#steady;
    // "Ease off" goes with its warning, and what is first said of a hand waits for nothing.
    const first = shown === "idle" || shown === "held";
    // A strain that went, or that comes and goes and is away for most of the time, does not stand beside numbers within
    // their limits.
    const eased = STRAINED.includes(shown) && (steady.only(NOT_STRAINED, timeS, HOLD_S)
      || [PRESENCE_HOLD_S, HOLD_S].every((lately) => this.#strained(timeS, lately) < lately / 2));
    const turned = timeS - steady.since >= PRESENCE_HOLD_S
      && (this.#lost || eased || steady.only(shown === "unseen" ? SEEN : ["unseen"], timeS, PRESENT_S));
    const soon = first || turned;
    if (first && steady.seconds(timeS, HOLD_S).some(([state]) => state === "held")) return shown;
    if (!soon && timeS - steady.since < WORD_HOLD_S) return shown;
    // Comfort that was not without a gap is not claimed; without anything else, it is not sure.
    const spent = steady.seconds(timeS, soon ? HOLD_S : WORD_HOLD_S).filter(([state]) => state !== "within" && state !== "held" && !(eased && STRAINED.includes(state)));
    const [most, seconds] = spent[0] ?? /** @type {const} */ (["unsure", Infinity]);
    const all = spent.reduce((sum, one) => sum + one[1], 0);
    const left = spent.find(([state]) => state === shown)?.[1] ?? 0;
    return soon || seconds >= MOST_OF * all || left <= HARDLY_ANY * all ? most : shown;
  }
}

/** A number that is shown: it changes after a while, by more than its uncertainty's worth. */
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
   * @param {boolean} [now] whether to show it whatever was shown, where it is there: what it belongs to has just changed
   */
  update(timeS, value, now = false) {
    if (timeS < this.#since) this.reset();
    let known = this.#there(timeS, value === null ? "missing" : "known") === "known";
    if (now && value !== null && !known) known = this.#known.set(timeS, "known") === "known";
    const wanted = known ? value ?? this.#shown : null;
    const differs = wanted === null || this.#shown === null ? wanted !== this.#shown : Math.abs(wanted - this.#shown) >= this.#step;
    if (differs && (now || timeS - this.#since >= HOLD_S)) {
      this.#shown = wanted;
      this.#since = timeS;
    }
    return this.#shown;
  }

  /**
   * A number that was there for a while goes soon, and comes back once it has been there without a gap.
   * @param {number} timeS
   * @param {"known" | "missing"} raw
   */
  #there(timeS, raw) {
    const known = this.#known;
    known.take(timeS, raw);
    if (known.shown === null) return known.set(timeS, raw);
    if (timeS - known.since < NUMBER_HOLD_S) return known.shown;
    if (known.shown === "known") return known.set(timeS, known.most(timeS));
    return known.only(["known"], timeS, HOLD_S) ? known.set(timeS, "known") : known.shown;
  }

  reset() {
    this.#known.reset();
    this.#shown = null;
    this.#since = -Infinity;
  }
}
