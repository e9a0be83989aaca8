// @ts-check
/** The ear: the belief where he listens next, as a hill under the newest rung, with the place to call named on it. */
import { absolute, offset } from "./figures.js";

/**
 * @typedef {import("./model.js").Model} Model
 * @typedef {import("./scales.js").Scales} Scales
 * @typedef {import("./palette.js").Palette} Palette
 */

const FACE = 'system-ui, "DejaVu Sans", sans-serif';
const HEADROOM = 50;

/**
 * Height of the hill: rises with density over that of knowing nothing, and never reaches the rung above.
 * @param {number} density @param {number} even
 */
export function rise(density, even) {
  return 1 - Math.exp(-density / (4 * even));
}

/**
 * Shortest set of places that hold this much of the belief, as a mask.
 * @param {number[]} density @param {number} share
 */
export function likeliest(density, share) {
  const total = density.reduce((sum, d) => sum + d, 0);
  const order = density.map((_, i) => i).sort((a, b) => density[b] - density[a]);
  const mask = new Array(density.length).fill(false);
  let held = 0;
  for (const i of order) {
    if (held >= share * total) break;
    mask[i] = true;
    held += density[i];
  }
  return mask;
}

/** @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
export function drawEar(to, model, scales, palette) {
  const ear = model.ear;
  if (!ear || ear.density_per_hz.length < 2) return;
  const density = ear.density_per_hz;
  const window = model.window.high_hz - model.window.low_hz;
  const even = 1 / (window > ear.step_hz ? window : ear.step_hz * density.length);
  const reach = scales.hill - HEADROOM;
  const x = (/** @type {number} */ i) => scales.x(ear.low_hz + i * ear.step_hz);
  const y = (/** @type {number} */ i) => scales.ground - reach * rise(density[i], even);
  const outline = () => {
    to.beginPath();
    to.moveTo(x(0), scales.ground);
    density.forEach((_, i) => to.lineTo(x(i), y(i)));
    to.lineTo(x(density.length - 1), scales.ground);
  };
  to.save();
  to.beginPath();
  to.rect(scales.left, scales.base, scales.right - scales.left, scales.ground - scales.base);
  to.clip();
  // Pale where he may listen, full where half of the belief lies: told apart by weight, not by hue.
  outline();
  to.fillStyle = palette.ear;
  to.globalAlpha = 0.22;
  to.fill();
  to.globalAlpha = 1;
  const mask = likeliest(density, 0.5);
  to.save();
  outline();
  to.clip();
  to.beginPath();
  mask.forEach((inside, i) => {
    if (inside) to.rect(x(i - 0.5), scales.base, x(i + 0.5) - x(i - 0.5) + 0.5, scales.hill);
  });
  to.fill();
  to.restore();
  outline();
  to.strokeStyle = palette.ear;
  to.lineWidth = 3;
  to.stroke();
  to.restore();
  // One figure to act on: where to call, which is not always where the hill is highest, as others call there too.
  const place = model.adviceHz() ?? model.peakHz();
  if (place === null) return;
  const best = Math.max(0, Math.min(density.length - 1, Math.round((place - ear.low_hz) / ear.step_hz)));
  to.font = `800 42px ${FACE}`;
  to.textAlign = "center";
  to.textBaseline = "alphabetic";
  to.fillStyle = palette.ink;
  const text = offset(place - model.dxHz, model.mode === "cw" ? 2 : 1);
  const half = to.measureText(text).width / 2;
  const at = Math.min(scales.right - half, Math.max(scales.left + half, scales.x(place)));
  to.lineWidth = 6;
  to.strokeStyle = palette.panel;
  to.lineJoin = "round";
  to.strokeText(text, at, y(best) - 9);
  to.fillText(text, at, y(best) - 9);
}

/** Figures under the hill: away from the DX in large, absolute in small. @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
export function drawAxis(to, model, scales, palette) {
  const { major, minor, digits } = scales.ticks(model.dxHz);
  const y = Math.round(scales.ground) + 0.5;
  to.strokeStyle = palette.ink;
  to.lineWidth = 2;
  to.beginPath();
  to.moveTo(scales.left, y);
  to.lineTo(scales.right, y);
  to.stroke();
  to.lineWidth = 1;
  to.beginPath();
  for (const hz of minor) {
    to.moveTo(scales.x(hz), y);
    to.lineTo(scales.x(hz), y + 5);
  }
  for (const hz of major) {
    to.moveTo(scales.x(hz), y);
    to.lineTo(scales.x(hz), y + 10);
  }
  to.stroke();
  to.textBaseline = "alphabetic";
  to.textAlign = "center";
  for (const hz of major) {
    to.fillStyle = palette.ink;
    to.font = `700 21px ${FACE}`;
    // A figure at the very edge stays inside the picture.
    const at = Math.min(scales.x(hz), scales.width - 38);
    to.fillText(offset(hz - model.dxHz, digits), at, y + 51);
    to.fillStyle = palette.soft;
    to.font = `14px ${FACE}`;
    to.fillText(absolute(hz, 1), at, y + 70);
  }
  to.textAlign = "right";
  to.fillStyle = palette.soft;
  to.font = `15px ${FACE}`;
  if (model.ear) {
    to.fillText("listens", scales.left - 14, scales.ground - 26);
    to.fillText("next", scales.left - 14, scales.ground - 8);
  }
  // At the very left: the first figure may stand half out of the picture
  to.textAlign = "left";
  to.fillText("kHz", 8, y + 51);
}
