// What is measured and what it is called, from the program's own tables. Everything else on the page waits for it.

/** @typedef {import("./api.d.ts").Vocabulary} Vocabulary */

const RETRY_MS = 1500;

/** @returns {Promise<Vocabulary>} */
async function ask() {
  for (;;) {
    try {
      const response = await fetch("/api/vocabulary");
      if (response.ok) return await response.json();
    } catch {
      // The program may still be starting.
    }
    await new Promise((resolve) => { setTimeout(resolve, RETRY_MS); });
  }
}

export const vocabulary = await ask();
