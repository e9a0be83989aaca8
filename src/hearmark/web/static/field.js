// @ts-check
/** The canvas that carries ladder, ear and own frequency, redrawn as a whole at most once a frame. */
import { drawAxis, drawEar } from "./ear.js";
import { drawAnswers, drawLadder } from "./ladder.js";
import { drawLines, drawSigns } from "./own.js";
import { readPalette } from "./palette.js";
import { Picture } from "./picture.js";
import { Scales } from "./scales.js";

/** @typedef {import("./model.js").Model} Model */

const SLIDE_MS = 260;

export class Field {
  /** @param {HTMLCanvasElement} canvas @param {Model} model */
  constructor(canvas, model) {
    this.canvas = canvas;
    this.context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
    this.model = model;
    this.palette = readPalette();
    this.picture = new Picture();
    /** @type {number | null} */
    this.newest = null;
    this.slideFrom = -Infinity;
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.scales = new Scales(100, 100, model.range, 1);
    model.subscribe(() => this.draw());
    new ResizeObserver(() => this.draw()).observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.palette = readPalette();
      model.changed();
    });
  }

  draw() {
    const { canvas, context, model } = this;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    const ratio = devicePixelRatio || 1;
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    if (!model.status) return;
    this.scales = new Scales(width, height, model.range, this.slide());
    this.picture.update(model, this.palette.picture);
    drawLadder(context, model, this.scales, this.palette, this.picture);
    context.fillStyle = this.palette.paper;
    context.fillRect(0, this.scales.ground, width, height);
    drawLines(context, model, this.scales, this.palette);
    drawAnswers(context, model, this.scales, this.palette);
    drawEar(context, model, this.scales, this.palette);
    drawAxis(context, model, this.scales, this.palette);
    drawSigns(context, model, this.scales, this.palette);
  }

  /** How far the newest rung has slid in, 0 to 1. */
  slide() {
    const newest = this.model.rungs()[0]?.id ?? null;
    const now = performance.now();
    if (newest !== this.newest) {
      if (this.newest !== null && !this.still.matches) this.slideFrom = now;
      this.newest = newest;
    }
    const share = Math.min(1, (now - this.slideFrom) / SLIDE_MS);
    if (share < 1) this.model.changed();
    return 1 - (1 - share) ** 3;
  }
}
