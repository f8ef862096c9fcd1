// What waits for an answer is not begun again before that has come: a double click, or Enter held down, counts once.

/**
 * The act, which does nothing while an earlier call of it is under way.
 * @template {unknown[]} A
 * @param {(...given: A) => unknown} act
 * @returns {(...given: A) => Promise<void>}
 */
export function once(act) {
  let busy = false;
  return async (...given) => {
    if (busy) return;
    busy = true;
    try {
      await act(...given);
    } finally {
      busy = false;
    }
  };
}
