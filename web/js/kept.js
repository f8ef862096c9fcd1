// Choices of this page that are kept where the browser allows it: true or false by a key.

/** @param {string} key */
export function recall(key) {
  try {
    return localStorage.getItem(key) === "true";
  } catch {
    return false;
  }
}

/**
 * @param {string} key
 * @param {boolean} value
 */
export function remember(key, value) {
  try {
    localStorage.setItem(key, String(value));
  } catch {
    // Private windows may refuse to keep anything; the choice then lasts as long as the page.
  }
}
