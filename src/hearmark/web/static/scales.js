// @ts-check
/** Where things lie on the field: frequency across, turns down to the present, the ear below. */

const LEFT = 86;
const RIGHT = 30;
const AXIS = 78;
const SHRINK = 0.86;

export class Scales {
  /**
   * @param {number} width CSS pixels
   * @param {number} height
   * @param {{low_hz: number, high_hz: number}} range
   * @param {number} slide 0 to 1: how far the newest rung has come into its place
   */
  constructor(width, height, range, slide) {
    this.width = width;
    this.height = height;
    this.range = range;
    this.slide = slide;
    this.left = LEFT;
    this.right = width - RIGHT;
    /** Where the hill stands. */
    this.ground = height - AXIS;
    this.hill = Math.min(260, Math.max(90, (height - AXIS) * 0.43));
    /** Where the newest rung lies. */
    this.base = this.ground - this.hill;
    this.gap = Math.max(24, this.base * 0.18);
  }

  /** @param {number} hz */
  x(hz) {
    return this.left + ((hz - this.range.low_hz) / (this.range.high_hz - this.range.low_hz)) * (this.right - this.left);
  }

  /** @param {number} x */
  hz(x) {
    return this.range.low_hz + ((x - this.left) / (this.right - this.left)) * (this.range.high_hz - this.range.low_hz);
  }

  /** Size of rung `index` against the newest one. @param {number} index */
  size(index) {
    return SHRINK ** Math.max(0, index - 1 + this.slide);
  }

  /** Height of rung `index`, 0 the newest: the further back, the closer together. @param {number} index */
  y(index) {
    const depth = index - 1 + this.slide;
    return this.base - (this.gap * (1 - SHRINK ** depth)) / (1 - SHRINK);
  }

  /** Frequencies for the figures on the axis. @param {number} dxHz @returns {{major: number[], minor: number[], digits: number}} */
  ticks(dxHz) {
    const span = this.range.high_hz - this.range.low_hz;
    const step = [200, 500, 1000, 2000, 5000, 10000].find((s) => span / s <= 9) ?? 20000;
    const list = (/** @type {number} */ by) => {
      const found = [];
      for (let k = Math.ceil((this.range.low_hz - dxHz) / by); dxHz + k * by <= this.range.high_hz; k += 1) found.push(dxHz + k * by);
      return found;
    };
    return { major: list(step), minor: list(step / 5), digits: step < 1000 ? 1 : 0 };
  }
}
