// @ts-check
/** Two-ear sound in the page: the DX on the left, the spot on the right. */

const RATE_HZ = 12000;

/** @typedef {{played: number, lacking: number, dropped: number, hurried: number, quanta: number, held_s: number, rms: number[], replaying: boolean, sending: boolean}} Report */

export class Sound {
  constructor() {
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {AudioWorkletNode | null} */
    this.player = null;
    /** @type {Report | null} */
    this.report = null;
    /** Why there is no sound, in one sentence. */
    this.trouble = "";
    this.onReport = () => {};
  }

  /** Must follow a key or a click: browsers start sound only then. */
  async start() {
    if (!this.context) {
      try {
        this.context = new AudioContext({ sampleRate: RATE_HZ, latencyHint: "interactive" });
      } catch {
        this.context = new AudioContext({ latencyHint: "interactive" });
      }
      if (!this.context.audioWorklet) {
        await this.context.close();
        this.context = null;
        this.trouble = "No sound here: browsers play it only on pages of the machine that serves them (127.0.0.1), or over an encrypted link.";
        return;
      }
      this.trouble = "";
      await this.context.audioWorklet.addModule(new URL("./player.js", import.meta.url));
      this.player = new AudioWorkletNode(this.context, "hearmark-player", { numberOfInputs: 0, outputChannelCount: [2] });
      this.player.port.onmessage = (event) => {
        this.report = event.data;
        this.onReport();
      };
      this.player.connect(this.context.destination);
    }
    await this.context.resume();
  }

  async stop() {
    this.player?.port.postMessage({ kind: "empty", body: new Int16Array(0) });
    await this.context?.suspend();
  }

  /** Delay from the air to the ear that we know of: filters (60 ms), half a block, the store, the sound card. */
  delayS() {
    const card = (this.context?.baseLatency ?? 0) + (this.context?.outputLatency ?? 0);
    return 0.06 + 0.025 + (this.report?.held_s ?? 0) + card;
  }

  /** @returns {boolean} */
  get on() {
    return this.context?.state === "running";
  }

  /** @param {import("./frames.js").Frame} frame */
  play(frame) {
    this.player?.port.postMessage({ kind: frame.kind, body: frame.body });
  }
}
