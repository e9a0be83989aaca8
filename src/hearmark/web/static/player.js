// @ts-check
/** Plays what the program sends, in the audio thread: a short store evens out the jitter of its arrival. */

/* global AudioWorkletProcessor, registerProcessor, sampleRate */

const RATE_HZ = 12000;
const STORE = RATE_HZ * 2;
/** How much is kept ready: more after each hole, then slowly less again. */
const LEAST_TARGET = RATE_HZ * 0.16;
const MOST_TARGET = RATE_HZ * 0.6;
const EASE = 0.9999;
const MOST = RATE_HZ;
/** The two clocks differ a little: the pace follows the store by at most half a percent. */
const BEND = 0.005;
const REPORT_EVERY = 20;

class Player extends AudioWorkletProcessor {
  constructor() {
    super();
    this.store = [new Float32Array(STORE), new Float32Array(STORE)];
    this.written = 0;
    this.read = 0;
    this.playing = false;
    this.target = LEAST_TARGET;
    this.step = RATE_HZ / sampleRate;
    /** @type {Float32Array} */
    this.replay = new Float32Array(0);
    this.replayAt = 0;
    this.counts = { played: 0, lacking: 0, dropped: 0, quanta: 0 };
    this.power = [0, 0];
    this.port.onmessage = (event) => this.take(event.data);
  }

  /** @param {{kind: string, body: Int16Array}} message */
  take({ kind, body }) {
    if (kind === "replay") {
      this.replay = Float32Array.from(body, (v) => v / 32768);
      this.replayAt = 0;
      return;
    }
    if (kind === "empty") {
      this.read = this.written;
      this.playing = false;
      return;
    }
    for (let i = 0; i + 1 < body.length; i += 2) {
      const at = this.written % STORE;
      this.store[0][at] = body[i] / 32768;
      this.store[1][at] = body[i + 1] / 32768;
      this.written += 1;
    }
    const held = this.written - this.read;
    if (held > MOST) {
      this.counts.dropped += Math.floor(held - this.target);
      this.read = this.written - this.target;
    }
  }

  /** Cubic interpolation (Catmull and Rom, 1974). @param {Float32Array} from @param {number} position */
  at(from, position) {
    const whole = Math.floor(position);
    const t = position - whole;
    const get = (/** @type {number} */ n) => from[(((whole + n) % STORE) + STORE) % STORE];
    const [a, b, c, d] = [get(-1), get(0), get(1), get(2)];
    return b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
  }

  /** @param {Float32Array[][]} _ @param {Float32Array[][]} outputs */
  process(_, outputs) {
    const [left, right] = outputs[0];
    const held = this.written - this.read;
    if (!this.playing && held >= this.target) this.playing = true;
    if (this.playing) this.target = Math.max(LEAST_TARGET, this.target * EASE);
    const pull = Math.max(-BEND, Math.min(BEND, ((held - this.target) / this.target) * 0.02));
    const step = this.step * (1 + pull);
    for (let i = 0; i < left.length; i += 1) {
      let [l, r] = [0, 0];
      if (this.playing && this.written - this.read > 3) {
        l = this.at(this.store[0], this.read);
        r = this.at(this.store[1], this.read);
        this.read += step;
        this.counts.played += 1;
      } else if (this.playing) {
        this.playing = false;
        this.counts.lacking += 1;
        this.target = Math.min(MOST_TARGET, this.target * 1.4);
      }
      if (this.replayAt < this.replay.length) {
        r = this.replay[Math.floor(this.replayAt)];
        this.replayAt += this.step;
      }
      left[i] = l;
      if (right) right[i] = r;
      this.power[0] += l * l;
      this.power[1] += r * r;
    }
    this.counts.quanta += 1;
    if (this.counts.quanta % REPORT_EVERY === 0) {
      const count = REPORT_EVERY * left.length;
      this.port.postMessage({
        ...this.counts,
        held_s: (this.written - this.read) / RATE_HZ,
        rms: this.power.map((p) => Math.sqrt(p / count)),
        replaying: this.replayAt < this.replay.length,
      });
      this.power = [0, 0];
    }
    return true;
  }
}

registerProcessor("hearmark-player", Player);
