// @ts-check
/** The WebSocket to the program: comes back by itself, and says when what is shown is old. */
import { readFrame } from "./frames.js";

/** @typedef {import("./model.js").Model} Model */

const SILENT_MS = 3000;

export class Link {
  /**
   * @param {Model} model
   * @param {import("./frames.js").Description} description
   * @param {(frame: import("./frames.js").Frame) => void} onSound
   * @param {string} path
   */
  constructor(model, description, onSound, path = "/link") {
    this.path = path;
    this.model = model;
    this.description = description;
    this.onSound = onSound;
    this.waitMs = 250;
    this.heardAt = performance.now();
    /** @type {WebSocket | null} */
    this.socket = null;
    /** @type {(why: string) => void} */
    this.onRefused = () => {};
    setInterval(() => this.watch(), 500);
  }

  open() {
    const socket = new WebSocket(`ws://${location.host}${this.path}`);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.onopen = () => {
      this.waitMs = 250;
      this.heardAt = performance.now();
    };
    socket.onmessage = (event) => this.receive(event.data);
    socket.onclose = () => {
      if (this.model.status) this.model.lose();
      setTimeout(() => this.open(), this.waitMs);
      this.waitMs = Math.min(this.waitMs * 2, 4000);
    };
  }

  /** @param {string | ArrayBuffer} data */
  receive(data) {
    this.heardAt = performance.now();
    if (typeof data === "string") {
      const message = JSON.parse(data);
      if (message.version !== this.description.events.version) {
        this.onRefused("The page and the program are of different versions: reload the page.");
        return;
      }
      this.model.link = "open";
      if (message.type === "refused") this.onRefused(message.why);
      else this.model.apply(message);
      return;
    }
    const frame = readFrame(this.description, data);
    if (frame.kind === "row") {
      const { time_s, low_hz, step_hz } = frame.values;
      this.model.addLine({ time_s, low_hz, step_hz, levels: /** @type {Uint8Array} */ (frame.body) });
    } else {
      this.onSound(frame);
    }
  }

  /** A running stream that says nothing has stalled, and the eye must know. */
  watch() {
    const model = this.model;
    if (model.link !== "open" && model.link !== "stalled") return;
    const silent = performance.now() - this.heardAt > SILENT_MS && model.status?.state === "running";
    const link = silent ? "stalled" : "open";
    if (link !== model.link) {
      model.link = link;
      model.changed();
    }
  }

  /** @param {Record<string, unknown>} action */
  ask(action) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(action));
    else this.onRefused("No link to the program: nothing was done.");
  }
}
