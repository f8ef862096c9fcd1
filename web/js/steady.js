// What is shown of a state that may flicker from frame to frame. Times are those of the frames, in seconds.

/** A change is shown after it has lasted this long; losing the hand takes longer, as hands are lost for moments. */
const DWELL_S = 0.4;
const UNSEEN_DWELL_S = 1.5;

export class Steady {
  #shown = null;
  #last = null;
  #differsSince = null;
  #unseenSince = null;

  constructor(dwellS = DWELL_S) {
    this.dwellS = dwellS;
  }

  /** Returns the state to show, and whether the hand is missing at this very moment. */
  update(timeS, raw) {
    if (this.#last !== null && timeS < this.#last) this.reset();
    this.#last = timeS;
    this.#unseenSince = raw === "unseen" ? (this.#unseenSince ?? timeS) : null;
    this.#differsSince = raw === this.#shown ? null : (this.#differsSince ?? timeS);
    if (this.#shown === null || raw === "held" || this.#lasted(timeS, raw)) {
      this.#shown = raw;
      this.#differsSince = null;
    }
    return { state: this.#shown, pending: raw === "unseen" && this.#shown !== "unseen" };
  }

  reset() {
    this.#shown = this.#last = this.#differsSince = this.#unseenSince = null;
  }

  #lasted(timeS, raw) {
    if (this.#differsSince === null) return false;
    if (raw === "unseen") return timeS - this.#unseenSince >= UNSEEN_DWELL_S;
    return timeS - this.#differsSince >= this.dwellS;
  }
}
