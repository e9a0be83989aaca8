// @ts-check
/** The radio: what it says, whether one may send, and what the guard warns of, in words and as a sound. */
import { absolute, offset } from "./figures.js";

/** @typedef {import("./model.js").Model} Model */

const BEEP_HZ = [880, 660];
const BEEP_S = 0.12;
const LOUDNESS = 0.12;

/** Short tones, gentle and limited by their fixed level; only after the first key or click, as browsers ask for. */
class Alarm {
  constructor() {
    /** @type {AudioContext | null} */
    this.context = null;
    this.count = 0;
    const wake = () => {
      this.context ??= new AudioContext();
      void this.context.resume();
    };
    document.addEventListener("keydown", wake, { once: true });
    document.addEventListener("pointerdown", wake, { once: true });
  }

  ring() {
    this.count += 1;
    const context = this.context;
    if (!context || context.state !== "running") return;
    BEEP_HZ.forEach((hz, k) => {
      const tone = new OscillatorNode(context, { frequency: hz });
      const level = new GainNode(context, { gain: 0 });
      const begin = context.currentTime + k * BEEP_S * 1.4;
      level.gain.setValueAtTime(0, begin);
      level.gain.linearRampToValueAtTime(LOUDNESS, begin + 0.01);
      level.gain.setValueAtTime(LOUDNESS, begin + BEEP_S - 0.02);
      level.gain.linearRampToValueAtTime(0, begin + BEEP_S);
      tone.connect(level).connect(context.destination);
      tone.start(begin);
      tone.stop(begin + BEEP_S);
    });
  }
}

/** @param {Model} model */
export function showRadio(model) {
  const element = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
  const alarm = new Alarm();
  /** @type {Set<string>} */
  let known = new Set();
  model.subscribe(() => {
    const radio = model.radio;
    document.body.dataset.radio = String(radio !== null);
    if (radio === null) return;
    const old = model.old() || !radio.connected;
    element("radio").dataset.sign = old ? "lost" : radio.hold ? "hold" : radio.set ? "set" : "free";
    set("radio-text", old && !radio.connected ? radio.why : words(model, radio));
    const hold = radio.hold || (radio.offer ? said(model, radio.offer) : "");
    set("radio-hold", hold);
    const warnings = model.old() ? [] : radio.warnings;
    const fresh = warnings.filter((w) => !known.has(w.kind));
    known = new Set(warnings.map((w) => w.kind));
    if (fresh.length) alarm.ring();
    const shown = warnings.length ? warnings[0].why : "";
    set("warning", shown);
    element("warning").classList.toggle("shown", shown !== "");
  });
  return alarm;
}

/** @param {Model} model @param {import("./model.js").Radio} radio */
function words(model, radio) {
  const parts = [];
  if (radio.receive_hz !== null) {
    const off = radio.receive_hz - model.dxHz;
    parts.push(`hears ${Math.abs(off) < 60 ? "him" : `${offset(off, 2)} kHz`}`);
  }
  if (radio.transmit_hz !== null) parts.push(`sends ${absolute(radio.transmit_hz, 2)}`);
  if (radio.split !== null) parts.push(radio.split ? "split on" : "split off");
  // As his, which stands below, it need not stand twice
  if (radio.mode && radio.mode !== model.mode) parts.push(radio.mode.toUpperCase());
  if (radio.peek_hz !== null) parts.push("peeking");
  if (radio.locked) parts.push("locked");
  if (radio.keyed) parts.push("SENDING");
  if (radio.duplex === "full") parts.push("full duplex: hear your own downlink");
  if (radio.slow_s) parts.push(`answers slowly: ${radio.slow_s} s`);
  if (radio.keyed === null) parts.push("key not reported");
  return parts.join(" · ");
}

/** @param {Model} model @param {{listen_low_hz: number, listen_high_hz: number}} offer */
function said(model, offer) {
  const low = offset(offer.listen_low_hz - model.dxHz);
  const high = offset(offer.listen_high_hz - model.dxHz);
  return `he says ${low === high ? low : `${low} to ${high}`}: T sets it`;
}

/** @param {string} id @param {string} text */
function set(id, text) {
  const element = /** @type {HTMLElement} */ (document.getElementById(id));
  if (element.textContent !== text) element.textContent = text;
}
