// @ts-check
/** The cue as a short sound, if that is wished: each its own pattern, soft, and apart from what is received. */

/** Pitches in hertz, one after the other. */
/** @type {Record<string, number[]>} */
const PATTERNS = { call: [784, 1175], you: [784, 988, 1175], move: [587, 587], listen: [587], wait: [330] };
const LEVEL = 0.05;
const EACH_S = 0.07;

export class CueSound {
  constructor() {
    /** @type {AudioContext | null} */
    this.context = null;
    this.on = false;
    /** How many were played, by cue: for looking inside, and for the tests. */
    /** @type {Record<string, number>} */
    this.played = {};
  }

  /** Must follow a key or a click. */
  async toggle() {
    this.on = !this.on;
    this.context ??= new AudioContext();
    if (this.on) await this.context.resume();
    else await this.context.suspend();
  }

  /** @param {string} cue */
  tell(cue) {
    const pattern = PATTERNS[cue];
    if (!this.on || !this.context || !pattern) return;
    this.played[cue] = (this.played[cue] ?? 0) + 1;
    pattern.forEach((pitch, index) => this.tone(pitch, index * EACH_S * 1.4));
  }

  /** @param {number} pitch @param {number} after_s */
  tone(pitch, after_s) {
    const context = /** @type {AudioContext} */ (this.context);
    const from = context.currentTime + 0.02 + after_s;
    const tone = new OscillatorNode(context, { frequency: pitch });
    const level = new GainNode(context, { gain: 0 });
    level.gain.setValueAtTime(0, from);
    level.gain.linearRampToValueAtTime(LEVEL, from + 0.008);
    level.gain.setValueAtTime(LEVEL, from + EACH_S - 0.015);
    level.gain.linearRampToValueAtTime(0, from + EACH_S);
    tone.connect(level).connect(context.destination);
    tone.start(from);
    tone.stop(from + EACH_S);
    tone.onended = () => level.disconnect();
  }
}
