// Requests to the server. A failure is a sentence, never an exception.

const TIMEOUT_MS = 25000;
const UNREACHABLE = "posturewatch does not answer. If it was closed, start it again in the terminal.";

async function request(path, options) {
  try {
    const response = await fetch(path, { ...options, signal: AbortSignal.timeout(TIMEOUT_MS) });
    const body = await response.json();
    return response.ok ? { body, error: null } : { body: null, error: body.error ?? UNREACHABLE };
  } catch {
    return { body: null, error: UNREACHABLE };
  }
}

export const post = (name) => request(`/api/${name}`, { method: "POST" });

export const get = (path) => request(`/api/${path}`, {});

/** A request that changes something; body is sent as JSON where there is one. */
export function send(method, path, body) {
  const options = { method };
  if (body !== undefined) {
    options.headers = { "Content-Type": "application/json" };
    options.body = JSON.stringify(body);
  }
  return request(`/api/${path}`, options);
}
