// @ts-check
/** Plays what the program sends, in the audio thread: a short store evens out the jitter of its arrival. */

/* global AudioWorkletProcessor, registerProcessor, sampleRate */

const RATE_HZ = 12000;
const STORE = RATE_HZ * 4;
/** How much is kept ready: more after each hole, then slowly less again. */
const LEAST_TARGET = RATE_HZ * 0.1;
const FIRST_TARGET = RATE_HZ * 0.14;
const MOST_TARGET = RATE_HZ * 0.6;
const EASE = 0.9999;
/** Beyond this nothing helps but to drop. */
const MOST = RATE_HZ * 3;
/**
 * What came in a rush after a stall is made good without losing any of it: now and then some 20 ms are left out where
 * the sound before and after is most alike, and faded over (synchronised overlap-add; Roucos and Wilgus, 1985; from memory).
 */
const SURPLUS = RATE_HZ * 0.12;
const SKIP_EVERY = RATE_HZ * 0.1;
const [SHORT, LONG, FADE] = [RATE_HZ * 0.012, RATE_HZ * 0.028, RATE_HZ * 0.005];
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
    this.target = FIRST_TARGET;
    this.step = RATE_HZ / sampleRate;
    /** @type {Float32Array} */
    this.replay = new Float32Array(0);
    this.replayAt = 0;
    /** @type {Float32Array} Own sending: both ears, and nothing else. */
    this.own = new Float32Array(0);
    this.ownAt = 0;
    /** Samples left out by the fade under way, how far it is, and when the next may begin. */
    this.skip = 0;
    this.faded = 0;
    this.nextSkip = 0;
    this.counts = { played: 0, lacking: 0, dropped: 0, hurried: 0, quanta: 0 };
    this.power = [0, 0];
    this.since = 0;
    this.sending = false;
    this.port.onmessage = (event) => this.take(event.data);
  }

  /** @param {{kind: string, body: Int16Array}} message */
  take({ kind, body }) {
    if (kind === "replay") {
      this.replay = Float32Array.from(body, (v) => v / 32768);
      this.replayAt = 0;
      return;
    }
    if (kind === "own") {
      this.own = Float32Array.from(body, (v) => v / 32768);
      this.ownAt = 0;
      return;
    }
    if (kind === "empty") {
      this.read = this.written;
      this.skip = 0;
      this.own = this.own.subarray(0, 0);
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
      this.skip = 0;
    }
  }

  /** Where to go on, `SHORT` to `LONG` samples ahead: where it is most like what would have come. */
  likest() {
    let [best, least] = [SHORT, Infinity];
    const from = Math.floor(this.read);
    for (let lag = SHORT; lag <= LONG; lag += 1) {
      let apart = 0;
      for (let i = 0; i < FADE && apart < least; i += 2) {
        for (const channel of this.store) {
          const difference = channel[(from + i) % STORE] - channel[(from + lag + i) % STORE];
          apart += difference * difference;
        }
      }
      if (apart < least) [best, least] = [lag, apart];
    }
    return best;
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
    if (this.playing && !this.skip && held > this.target + SURPLUS && this.counts.played >= this.nextSkip) {
      this.skip = this.likest();
      this.faded = 0;
      this.nextSkip = this.counts.played + SKIP_EVERY / this.step;
    }
    const pull = Math.max(-BEND, Math.min(BEND, ((held - this.target) / this.target) * 0.02));
    const step = this.step * (1 + pull);
    for (let i = 0; i < left.length; i += 1) {
      let [l, r] = [0, 0];
      if (this.playing && this.written - this.read > 3) {
        l = this.at(this.store[0], this.read);
        r = this.at(this.store[1], this.read);
        if (this.skip) {
          const share = this.faded / FADE;
          l += share * (this.at(this.store[0], this.read + this.skip) - l);
          r += share * (this.at(this.store[1], this.read + this.skip) - r);
          this.faded += step;
          if (this.faded >= FADE) {
            this.read += this.skip;
            this.counts.hurried += this.skip;
            this.skip = 0;
          }
        }
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
      if (this.ownAt < this.own.length) {
        l = r = this.own[Math.floor(this.ownAt)];
        this.ownAt += this.step;
      }
      left[i] = l;
      if (right) right[i] = r;
      this.power[0] += l * l;
      this.power[1] += r * r;
    }
    this.counts.quanta += 1;
    this.since += left.length;
    const sending = this.ownAt < this.own.length;
    if (this.counts.quanta % REPORT_EVERY === 0 || sending !== this.sending) {
      this.sending = sending;
      const count = this.since;
      this.since = 0;
      this.port.postMessage({
        ...this.counts,
        held_s: (this.written - this.read) / RATE_HZ,
        rms: this.power.map((p) => Math.sqrt(p / count)),
        replaying: this.replayAt < this.replay.length,
        sending,
      });
      this.power = [0, 0];
    }
    return true;
  }
}

registerProcessor("hearmark-player", Player);
