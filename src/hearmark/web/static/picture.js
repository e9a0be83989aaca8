// @ts-check
/** The faint picture behind the ladder: power over the floor, one line a moment, cut into the strips of the turns. */

/** @typedef {import("./model.js").Model} Model */

const HIGH = 900;
const STRONGEST = 0.4;

export class Picture {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.context = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    this.drawn = 0;
    this.key = "";
    this.first = 0;
  }

  /** Paints the lines that are new; all of them when range, colours or session are others. @param {Model} model @param {[number, number, number]} rgb */
  update(model, rgb) {
    const last = model.lines[model.lines.length - 1];
    if (!last) return;
    const { low_hz, high_hz } = model.range;
    const first = Math.max(0, Math.floor((low_hz - last.low_hz) / last.step_hz));
    const stop = Math.min(last.levels.length, Math.ceil((high_hz - last.low_hz) / last.step_hz) + 1);
    const width = Math.max(1, stop - first);
    const key = [model.epoch, first, width, last.low_hz, last.step_hz, rgb.join()].join("/");
    if (key !== this.key) {
      this.key = key;
      this.first = first;
      this.canvas.width = width;
      this.canvas.height = HIGH;
      this.drawn = Math.max(0, model.lineCount - model.lines.length);
    }
    const oldest = model.lineCount - model.lines.length;
    for (let n = Math.max(this.drawn, oldest); n < model.lineCount; n += 1) {
      const line = model.lines[n - oldest];
      const image = this.context.createImageData(width, 1);
      for (let i = 0; i < width; i += 1) {
        const db = ((line.levels[first + i] ?? 0) - 40) / 4;
        const strength = Math.min(1, Math.max(0, (db - 3) / 27));
        image.data.set([rgb[0], rgb[1], rgb[2], 255 * STRONGEST * strength], i * 4);
      }
      this.context.putImageData(image, 0, n % HIGH);
    }
    this.drawn = model.lineCount;
  }

  /**
   * Draws the lines between two times into a strip.
   * @param {CanvasRenderingContext2D} to
   * @param {Model} model
   * @param {import("./scales.js").Scales} scales
   * @param {number} startS @param {number} stopS @param {number} top @param {number} bottom
   */
  strip(to, model, scales, startS, stopS, top, bottom) {
    const lines = model.lines;
    if (!lines.length || bottom - top < 1) return;
    const oldest = model.lineCount - lines.length;
    const from = find(lines, startS);
    const until = find(lines, stopS);
    if (until <= from) return;
    const line = lines[lines.length - 1];
    const left = scales.x(line.low_hz + (this.first - 0.5) * line.step_hz);
    const right = scales.x(line.low_hz + (this.first + this.canvas.width - 0.5) * line.step_hz);
    // The canvas is a ring of lines: a strip over its seam comes in two parts.
    to.save();
    to.beginPath();
    to.rect(scales.left, top, scales.right - scales.left, bottom - top);
    to.clip();
    let at = from;
    while (at < until) {
      const slot = (oldest + at) % HIGH;
      const count = Math.min(until - at, HIGH - slot);
      const y0 = top + ((at - from) / (until - from)) * (bottom - top);
      const y1 = top + ((at - from + count) / (until - from)) * (bottom - top);
      to.drawImage(this.canvas, 0, slot, this.canvas.width, count, left, y0, right - left, y1 - y0);
      at += count;
    }
    to.restore();
  }
}

/** First line at or after a time. @param {import("./model.js").Line[]} lines @param {number} timeS */
function find(lines, timeS) {
  let low = 0;
  let high = lines.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (lines[middle].time_s < timeS) low = middle + 1;
    else high = middle;
  }
  return low;
}
