// The live socket: pictures with their numbers, and the practice's state. Retries for ever.

const SILENCE_MS = 4000;
const RETRY_MS = 1500;

/** Splits one binary message (see posturewatch/live_message.py) into its header and its picture. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  return { header, jpeg: new Blob([new Uint8Array(buffer, 4 + length)], { type: "image/jpeg" }) };
}

/**
 * Calls onPicture(header, bitmap) for each picture, onState(state, limits) for each state and
 * onConnection(true or false) on changes. The server is told when a picture has been drawn, and waits for that.
 */
export class Live {
  #socket = null;
  #connected = false;
  #heard = 0;
  #decoding = false;
  #waiting = null;

  constructor({ onPicture, onState, onConnection }) {
    this.onPicture = onPicture;
    this.onState = onState;
    this.onConnection = onConnection;
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

  #take(socket, data) {
    if (socket !== this.#socket) return;
    this.#heard = performance.now();
    if (!this.#connected) {
      this.#connected = true;
      this.onConnection(true);
    }
    if (typeof data === "string") {
      const { state, limits } = JSON.parse(data);
      this.onState(state, limits);
    } else if (this.#decoding) {
      this.#waiting = data;
    } else {
      this.#draw(socket, data);
    }
  }

  async #draw(socket, data) {
    this.#decoding = true;
    const { header, jpeg } = unpack(data);
    try {
      const bitmap = await createImageBitmap(jpeg);
      if (socket === this.#socket) this.onPicture(header, bitmap);
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

  #closed(socket) {
    if (socket !== this.#socket) return;
    this.#socket = null;
    this.#waiting = null;
    this.#connected = false;
    this.onConnection(false);
    setTimeout(() => this.#open(), RETRY_MS);
  }
}
