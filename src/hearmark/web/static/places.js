// @ts-check
/** Places to send from: how near is the same place, what the guard and the licence leave, and steps of the arrow keys. */
import { offset } from "./figures.js";

/** @typedef {import("./model.js").Model} Model */

/** So near to another place it counts as the same. @param {Model} model */
export function nearHz(model) {
  return model.mode === "cw" ? 100 : 300;
}

/** So far from the DX a signal does not cover him. @param {Model} model */
export function clearHz(model) {
  return model.mode === "cw" ? 300 : 2700;
}

/** Whether the advice is another place than where we stand. @param {Model} model @param {number | null} target @param {number | null} own */
export function elsewhere(model, target, own) {
  return target !== null && own !== null && Math.abs(target - own) > nearHz(model);
}

/** Where he listens, or so near to it that it counts as such. @param {Model} model @param {number} hz */
export function inWindow(model, hz) {
  const { low_hz, high_hz } = model.window;
  return hz >= low_hz - nearHz(model) && hz <= high_hz + nearHz(model);
}

/** Not known to be outside the licence. @param {Model} model @param {number} hz */
export function lawful(model, hz) {
  const may = model.allowed;
  return may === null || !may.known || may.intervals_hz.some(([low, high]) => hz >= low - 0.5 && hz <= high + 0.5);
}

/** Where a step of an arrow key leads: never over the DX, and out of his window by a press of its own. */
export class Steps {
  /** @param {Model} model */
  constructor(model) {
    this.model = model;
    /** The edge of the window at which a step was stopped, and to which side; nothing when none was. */
    this.stopped = "";
  }

  /**
   * @param {number} from @param {number} by @param {boolean} held the key repeats: not a press of its own
   * @returns {{hz: number, why: string}} `why`: where and why it stopped; nothing when it did not
   */
  next(from, by, held) {
    const { model } = this;
    const up = Math.sign(by);
    const clear = clearHz(model);
    // On the DX's very frequency, each arrow leads out to its side
    const side = Math.sign(from - model.dxHz) || up;
    let to = from + by;
    let why = "";
    if (side * (to - model.dxHz) < clear) {
      to = side !== up && Math.abs(from - model.dxHz) < clear ? from : model.dxHz + side * clear;
      if (side !== up) why = `${offset(side * clear)}: nearer to the DX your signal would cover him. The arrows do not step over him.`;
    }
    const { low_hz, high_hz } = model.window;
    const edge = up > 0 ? high_hz : low_hz;
    // A window without width is no place to be kept in
    const inside = low_hz < high_hz && from >= low_hz && from <= high_hz;
    if (inside && up * (to - edge) > 0) {
      const stop = `${edge} ${up}`;
      if (held || this.stopped !== stop) {
        this.stopped = stop;
        const where = `${offset(low_hz - model.dxHz)} to ${offset(high_hz - model.dxHz)}`;
        return { hz: edge, why: `Here ends where he listens (${where} kHz); ${up > 0 ? "\u2192" : "\u2190"} once more goes on.` };
      }
    }
    this.stopped = "";
    return { hz: to, why };
  }
}
