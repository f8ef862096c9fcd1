// The live socket: pictures with their numbers, and the practice's state. Retries for ever.

/** @import { LiveHeader, LiveState, PracticeState } from "./api.d.ts" */

const SILENCE_MS = 4000;
const RETRY_MS = 1500;

/**
 * Splits one binary message (see posturewatch/server/live_message.py) into its header and its picture.
 * @param {ArrayBuffer} buffer
 */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  /** @type {LiveHeader} */
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  return { header, jpeg: new Blob([new Uint8Array(buffer, 4 + length)], { type: "image/jpeg" }) };
}

/** @typedef {{ onPicture: (header: LiveHeader, bitmap: ImageBitmap) => void, onState: (state: PracticeState) => void, onConnection: (connected: boolean) => void }} Listeners */

/** Tells its listeners of each picture, each state and each change of the connection. The server is told when a
 * picture has been drawn, and waits for that. */
export class Live {
  /** @type {WebSocket | null} */
  #socket = null;
  #connected = false;
  #heard = 0;
  #decoding = false;
  /** @type {ArrayBuffer | null} */
  #waiting = null;
  #listeners;

  /** @param {Listeners} listeners */
  constructor(listeners) {
    this.#listeners = listeners;
    setInterval(() => this.#watchSilence(), 500);
    this.#open();
  }

  #open() {
    const socket = new WebSocket(`ws://${location.host}/api/live`);
    socket.binaryType = "arraybuffer";
    this.#socket = socket;
    this.#heard = performance.now();
    socket.addEventListener("message", (event) => this.#take(socket, event.data));
    socket.addEventListener("close", () => this.#closed(socket));
  }

  /**
   * @param {WebSocket} socket
   * @param {string | ArrayBuffer} data
   */
  #take(socket, data) {
    if (socket !== this.#socket) return;
    this.#heard = performance.now();
    if (!this.#connected) {
      this.#connected = true;
      this.#listeners.onConnection(true);
    }
    if (typeof data === "string") {
      /** @type {LiveState} */
      const { state } = JSON.parse(data);
      this.#listeners.onState(state);
    } else if (this.#decoding) {
      this.#waiting = data;
    } else {
      this.#draw(socket, data);
    }
  }

  /**
   * @param {WebSocket} socket
   * @param {ArrayBuffer} data
   */
  async #draw(socket, data) {
    this.#decoding = true;
    const { header, jpeg } = unpack(data);
    try {
      const bitmap = await createImageBitmap(jpeg);
      if (socket === this.#socket) this.#listeners.onPicture(header, bitmap);
      bitmap.close();
    } finally {
      this.#decoding = false;
      if (socket.readyState === WebSocket.OPEN) socket.send(String(header.seq));
      const next = this.#waiting;
      this.#waiting = null;
      if (next !== null && socket === this.#socket) this.#draw(socket, next);
    }
  }

  #watchSilence() {
    if (this.#socket !== null && performance.now() - this.#heard > SILENCE_MS) {
      const socket = this.#socket;
      this.#closed(socket);
      socket.close();
    }
  }

  /** @param {WebSocket} socket */
  #closed(socket) {
    if (socket !== this.#socket) return;
    this.#socket = null;
    this.#waiting = null;
    this.#connected = false;
    this.#listeners.onConnection(false);
    setTimeout(() => this.#open(), RETRY_MS);
  }
}
