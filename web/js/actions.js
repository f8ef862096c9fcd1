// Requests to the server. A failure is a sentence, never an exception.

import { words } from "./language.js";
import { translated } from "./translated.js";

const TIMEOUT_MS = 25000;

/**
 * @template T
 * @param {string} path
 * @param {RequestInit} options
 * @returns {Promise<import("./api.d.ts").Answer<T>>}
 */
async function request(path, options) {
  const unreachable = words.faults.unreachable;
  try {
    const response = await fetch(path, { ...options, signal: AbortSignal.timeout(TIMEOUT_MS) });
    const body = await response.json();
    return response.ok ? { body, error: null } : { body: null, error: translated(body.error ?? unreachable), status: response.status };
  } catch {
    return { body: null, error: unreachable };
  }
}

/**
 * @template T
 * @param {string} path
 * @returns {Promise<import("./api.d.ts").Answer<T>>}
 */
export const get = (path) => request(`/api/${path}`, {});

/**
 * A request that changes something; body is sent as JSON where there is one.
 * @template T
 * @param {"POST" | "PUT" | "PATCH" | "DELETE"} method
 * @param {string} path
 * @param {unknown} [body]
 * @returns {Promise<import("./api.d.ts").Answer<T>>}
 */
export function send(method, path, body) {
  /** @type {RequestInit} */
  const options = { method };
  if (body !== undefined) {
    options.headers = { "Content-Type": "application/json" };
    options.body = JSON.stringify(body);
  }
  return request(`/api/${path}`, options);
}
