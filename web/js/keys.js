// Keys and foot pedals: Space, Enter and Page Down mark; Page Up stops, and starts again.

import { around } from "./dom.js";

/** A pedal's contact may close twice, and a foot may rest on it. */
const BOUNCE_MS = 350;
const AFTER_TURN_MS = 1200;

/**
 * A focused button keeps Space and Enter to itself, so that one press does one thing.
 * @param {{ getPhase: () => "watching" | "ready" | "busy", mark: () => void, stop: () => void, start: () => void }} practice
 */
export function listenToKeys({ getPhase, mark, stop, start }) {
  let last = -Infinity;
  let turned = -Infinity;

  /** @param {KeyboardEvent} event */
  function press(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
    const button = around(event, "button, a[href], summary, input, select, textarea");
    const phase = getPhase();
    if (event.key === " " || event.key === "Enter") {
      // Held down on a button, Enter would press it again and again.
      if (button) {
        if (event.repeat) event.preventDefault();
        return;
      }
      if (phase === "watching") act(event, mark);
    } else if (event.key === "PageDown" && phase === "watching") {
      act(event, mark);
    } else if (event.key === "PageUp" && phase === "watching") {
      act(event, stop, true);
    } else if (event.key === "PageUp" && phase === "ready" && window.scrollY < 8) {
      act(event, start, true);
    }
  }

  /**
   * @param {KeyboardEvent} event
   * @param {() => void} action
   * @param {boolean} [turns] whether it starts or stops
   */
  function act(event, action, turns = false) {
    event.preventDefault();
    const now = performance.now();
    if (event.repeat || now - last < BOUNCE_MS || (turns && now - turned < AFTER_TURN_MS)) return;
    last = now;
    if (turns) turned = now;
    action();
  }

  document.addEventListener("keydown", press);

  // After a click the button lets go of the keyboard: the next press of a pedal is meant for the practice.
  document.addEventListener("click", (event) => {
    const button = around(event, "button");
    if (button instanceof HTMLElement && event.detail > 0) button.blur();
  });
}
