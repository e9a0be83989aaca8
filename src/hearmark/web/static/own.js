// @ts-check
/** Where we stand: own transmit frequency, where the advice sends us, and the spot in the right ear. */

import { offset } from "./figures.js";
import { elsewhere } from "./places.js";

/**
 * @typedef {import("./model.js").Model} Model
 * @typedef {import("./scales.js").Scales} Scales
 * @typedef {import("./palette.js").Palette} Palette
 */

const FACE = 'system-ui, "DejaVu Sans", sans-serif';

/** @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
export function drawLines(to, model, scales, palette) {
  const spot = shownSpot(model);
  if (spot !== null) line(to, scales, palette.soft, spot, 2, [3, 6]);
  if (model.transmitHz !== null) line(to, scales, palette.own, model.dragHz ?? model.transmitHz, model.dragHz === null ? 3 : 5, []);
}

/** @param {Model} model */
function shownSpot(model) {
  return model.status?.sound ? model.status.spot_hz : null;
}

/** @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
export function drawSigns(to, model, scales, palette) {
  const spot = shownSpot(model);
  if (spot !== null) sign(to, scales, palette.soft, palette.ink, spot, "right ear", "ring");
  const target = model.adviceHz();
  const own = model.dragHz ?? model.transmitHz;
  const label = model.dragHz === null ? "you" : model.dragHz === snapped(model) ? "as advised" : offset(model.dragHz - model.dxHz, 2);
  if (own !== null) sign(to, scales, palette.own, palette.ink, own, label, "wedge");
  if (target !== null && own !== null && elsewhere(model, target, own)) {
    const [from, until] = [clamp(scales, scales.x(own)), clamp(scales, scales.x(target))];
    const y = scales.ground - 9;
    if (Math.abs(until - from) < 14) return;
    const side = Math.sign(until - from);
    to.strokeStyle = palette.ink;
    to.fillStyle = palette.ink;
    to.lineWidth = 4;
    to.beginPath();
    to.moveTo(from + side * 6, y);
    to.lineTo(until - side * 12, y);
    to.stroke();
    to.beginPath();
    to.moveTo(until, y);
    to.lineTo(until - side * 14, y - 8);
    to.lineTo(until - side * 14, y + 8);
    to.fill();
  }
}

/** The advised place as it is asked for, in tens of hertz. @param {Model} model @returns {number | null} */
export function snapped(model) {
  const target = model.adviceHz();
  return target === null ? null : Math.round(target / 10) * 10;
}

/** @param {Scales} scales @param {number} x */
function clamp(scales, x) {
  return Math.min(scales.right, Math.max(scales.left, x));
}

/**
 * @param {CanvasRenderingContext2D} to @param {Scales} scales @param {string} colour
 * @param {number} hz @param {number} width @param {number[]} dash
 */
function line(to, scales, colour, hz, width, dash) {
  const x = scales.x(hz);
  if (x !== clamp(scales, x)) return;
  to.strokeStyle = colour;
  to.lineWidth = width;
  to.setLineDash(dash);
  to.beginPath();
  to.moveTo(x, 0);
  to.lineTo(x, scales.ground);
  to.stroke();
  to.setLineDash([]);
}

/**
 * A sign under the axis; at the edge, with an arrow out of the picture.
 * @param {CanvasRenderingContext2D} to @param {Scales} scales @param {string} colour @param {string} ink
 * @param {number} hz @param {string} text @param {"wedge" | "ring"} shape
 */
export function sign(to, scales, colour, ink, hz, text, shape) {
  const trueX = scales.x(hz);
  const x = clamp(scales, trueX);
  const y = scales.ground + 1;
  to.strokeStyle = colour;
  to.fillStyle = colour;
  to.beginPath();
  if (shape === "wedge") {
    to.moveTo(x, y);
    to.lineTo(x - 13, y + 26);
    to.lineTo(x + 13, y + 26);
    to.fill();
  } else {
    to.arc(x, y + 15, 8, 0, 2 * Math.PI);
    to.lineWidth = 3;
    to.stroke();
  }
  to.font = `700 18px ${FACE}`;
  to.textBaseline = "middle";
  to.fillStyle = ink;
  // The two signs write to different sides, so that they can stand close together.
  const left = x > scales.right - 60 || (shape === "ring" && x > scales.left + 60);
  to.textAlign = left ? "right" : "left";
  const out = trueX < scales.left ? `\u2190 ${text}` : trueX > scales.right ? `${text} \u2192` : text;
  to.fillText(out, x + (left ? -18 : 18), y + 17);
}
