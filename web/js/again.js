// What has to come: asked for again after a pause that grows, until it comes or is wanted no more.

/** @import { Answer } from "./api.d.ts" */

const FIRST_MS = 1000;
const LONGEST_MS = 16000;
/** Until then nothing is said of it. */
const LONG_MS = 4000;
/** The server's word that there is no such thing, which asking again does not change. */
const NOT_FOUND = 404;

/**
 * The last answer: with a body, or with the fault of what is not there or is wanted no more. onLong: told that it
 * takes long, with each fault from then on: its sentence where the server gave one, else "".
 * @template T
 * @param {() => Promise<Answer<T>>} ask
 * @param {() => boolean} wanted
 * @param {(sentence: string) => void} onLong
 * @returns {Promise<Answer<T>>}
 */
export async function askedAgain(ask, wanted, onLong) {
  const begun = performance.now();
  for (let pause = FIRST_MS; ; pause = Math.min(2 * pause, LONGEST_MS)) {
    const answer = await ask();
    if (answer.body || answer.status === NOT_FOUND || !wanted()) return answer;
    if (performance.now() - begun >= LONG_MS) onLong(answer.status === undefined ? "" : answer.error ?? "");
    await new Promise((done) => { setTimeout(done, pause); });
    if (!wanted()) return answer;
  }
}
