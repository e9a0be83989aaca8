// @ts-check
/** The ladder: one rung a turn, the newest lowest, each mark a point with its call. */
import { age } from "./figures.js";

/**
 * @typedef {import("./model.js").Model} Model
 * @typedef {import("./scales.js").Scales} Scales
 * @typedef {import("./palette.js").Palette} Palette
 */

const FACE = 'system-ui, "DejaVu Sans", sans-serif';
/** A turn that goes on fills its strip in this time. */
const USUAL_S = 12;
const SURE = 0.5;
const HINTS = [
  "Each line is one turn in which others may call, the newest lowest; the ticks are callers.",
  "A blue point: he answered somebody there. The hill below: where he is likely to listen next.",
];
/** A shorter gap is hatched only: own calls are such. */
const TOLD_S = 5;

/** The turns for which there is room, newest first. @param {Model} model @param {Scales} scales */
function shownTurns(model, scales) {
  const rungs = model.rungs();
  const most = rungs.findIndex((_, index) => scales.y(index) < 12);
  return most < 0 ? rungs : rungs.slice(0, most + 1);
}

/**
 * What lies behind: the window, the picture of each turn, the rungs.
 * @param {CanvasRenderingContext2D} to
 * @param {Model} model
 * @param {Scales} scales
 * @param {Palette} palette
 * @param {import("./picture.js").Picture} picture
 */
export function drawLadder(to, model, scales, palette, picture) {
  const shown = shownTurns(model, scales);
  drawWindow(to, model, scales, palette);
  shown.forEach((turn, index) => {
    const top = scales.y(index + 1);
    const bottom = scales.y(index);
    const next = index > 0 ? shown[index - 1].start_s : Math.max(model.nowS, turn.start_s + USUAL_S);
    const filled = index > 0 ? bottom : top + ((bottom - top) * (model.nowS - turn.start_s)) / (next - turn.start_s);
    picture.strip(to, model, scales, turn.start_s, next, Math.max(0, top), filled);
    for (const gap of [...model.gaps, ...model.unlinked]) {
      const start = Math.max(gap.start_s, turn.start_s);
      const stop = Math.min(gap.stop_s, next);
      if (stop > start) {
        const y = (/** @type {number} */ t) => top + ((t - turn.start_s) / (next - turn.start_s)) * (bottom - top);
        hatch(to, scales, palette, y(start), Math.max(y(stop), y(start) + 3));
        if (gap.stop_s === stop) tellGap(to, scales, palette, gap, y(stop));
      }
    }
  });
  shown.forEach((turn, index) => drawRung(to, model, scales, palette, turn, index));
  drawHint(to, scales, palette, scales.y(shown.length - 1));
  if (!shown.length) {
    to.fillStyle = palette.soft;
    to.font = `20px ${FACE}`;
    to.textAlign = "center";
    to.fillText("The first turn has not begun yet.", (scales.left + scales.right) / 2, scales.base / 2);
  }
}

/** Who was answered: the trail from mark to mark, and the marks. @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
export function drawAnswers(to, model, scales, palette) {
  const shown = shownTurns(model, scales);
  drawTrail(to, model, scales, palette, shown);
  shown.toReversed().forEach((turn) => drawMarks(to, model, scales, palette, turn, shown.indexOf(turn)));
}

/** The window he gave, as a lighter ground between two posts. @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette */
function drawWindow(to, model, scales, palette) {
  const left = scales.x(model.window.low_hz);
  const right = scales.x(model.window.high_hz);
  to.fillStyle = palette.panel;
  to.fillRect(left, 0, right - left, scales.ground);
  to.strokeStyle = palette.line;
  to.lineWidth = 1;
  to.beginPath();
  for (const x of [left, right]) {
    to.moveTo(Math.round(x) + 0.5, 0);
    to.lineTo(Math.round(x) + 0.5, scales.ground);
  }
  to.stroke();
}

/** @param {CanvasRenderingContext2D} to @param {Scales} scales @param {Palette} palette @param {number} top @param {number} bottom */
function hatch(to, scales, palette, top, bottom) {
  to.save();
  to.beginPath();
  to.rect(scales.left, top, scales.right - scales.left, bottom - top);
  to.clip();
  to.strokeStyle = palette.soft;
  to.globalAlpha = 0.5;
  to.lineWidth = 1;
  to.beginPath();
  for (let x = scales.left - 40; x < scales.right; x += 9) {
    to.moveTo(x, bottom + 4);
    to.lineTo(x + 40, bottom - 36);
  }
  to.stroke();
  to.restore();
}

/**
 * How to read the picture, above the ladder as long as there is room: whoever stays long enough to fill it has learnt it.
 * @param {CanvasRenderingContext2D} to @param {Scales} scales @param {Palette} palette @param {number} top of the uppermost rung
 */
function drawHint(to, scales, palette, top) {
  if (top < HINTS.length * 21 + 24) return;
  to.textAlign = "left";
  to.textBaseline = "middle";
  to.font = `15px ${FACE}`;
  to.lineWidth = 5;
  to.lineJoin = "round";
  to.strokeStyle = palette.panel;
  to.fillStyle = palette.soft;
  HINTS.forEach((line, index) => {
    to.strokeText(line, scales.left + 12, 18 + 21 * index);
    to.fillText(line, scales.left + 12, 18 + 21 * index);
  });
}

/** How long nothing was heard, in words at the end of the hatching. @param {CanvasRenderingContext2D} to @param {Scales} scales @param {Palette} palette @param {import("./model.js").Gap} gap @param {number} bottom */
function tellGap(to, scales, palette, gap, bottom) {
  if (gap.stop_s - gap.start_s < TOLD_S && gap.why !== "changed") return;
  to.font = `13px ${FACE}`;
  to.textAlign = "right";
  to.textBaseline = "bottom";
  to.lineWidth = 5;
  to.lineJoin = "round";
  to.strokeStyle = palette.panel;
  const long = gap.stop_s - gap.start_s;
  const text = `${gap.why === "no link" ? "no link" : "not heard"} for ${long < 1 ? "less than a second" : age(long)}`;
  to.strokeText(text, scales.right - 6, bottom - 2);
  to.fillStyle = palette.ink;
  to.fillText(text, scales.right - 6, bottom - 2);
}

/** @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette @param {import("./model.js").Turn} turn @param {number} index */
function drawRung(to, model, scales, palette, turn, index) {
  const y = Math.round(scales.y(index)) + 0.5;
  const size = scales.size(index);
  to.strokeStyle = index === 0 ? palette.ink : palette.line;
  to.lineWidth = index === 0 ? 2 : 1;
  to.beginPath();
  to.moveTo(scales.left, y);
  to.lineTo(scales.right, y);
  to.stroke();
  if (index > 0 && size < 0.45) return;
  to.textAlign = "right";
  to.textBaseline = "middle";
  to.fillStyle = index === 0 ? palette.ink : palette.soft;
  to.font = `${index === 0 ? 700 : 400} ${Math.max(12, 17 * size)}px ${FACE}`;
  const ago = model.nowS - turn.start_s;
  to.fillText(index === 0 && turn.stop_s === null ? "now" : age(ago), scales.left - 14, y);
  if (index > 1) return;
  // Callers heard in this turn, as short ticks: how crowded it is where.
  to.strokeStyle = palette.soft;
  to.lineWidth = 2;
  to.beginPath();
  for (const caller of model.emissions.values()) {
    if (caller.start_s < turn.start_s || (turn.stop_s !== null && caller.start_s > turn.stop_s)) continue;
    const x = scales.x(caller.frequency_hz);
    if (x < scales.left || x > scales.right) continue;
    to.moveTo(x, y);
    to.lineTo(x, y - 9 * size);
  }
  to.stroke();
}

/** The way he went from mark to mark. @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette @param {import("./model.js").Turn[]} shown */
function drawTrail(to, model, scales, palette, shown) {
  const points = standing(model)
    .map((a) => ({ x: scales.x(a.frequency_hz), index: shown.findIndex((t) => t.id === model.turnOf(a)) }))
    .filter((p) => p.index >= 0);
  to.strokeStyle = palette.mark;
  to.lineJoin = "round";
  for (let i = 1; i < points.length; i += 1) {
    const [a, b] = [points[i - 1], points[i]];
    to.globalAlpha = 0.25 + 0.55 * scales.size(b.index);
    to.lineWidth = 1 + 2 * scales.size(b.index);
    to.beginPath();
    to.moveTo(a.x, scales.y(a.index));
    to.lineTo(b.x, scales.y(b.index));
    to.stroke();
  }
  to.globalAlpha = 1;
}

/** @param {Model} model */
function standing(model) {
  return model.marks().filter((a) => a.retracted_at_s === null && a.confidence >= SURE);
}

/** @param {CanvasRenderingContext2D} to @param {Model} model @param {Scales} scales @param {Palette} palette @param {import("./model.js").Turn} turn @param {number} index */
function drawMarks(to, model, scales, palette, turn, index) {
  const size = scales.size(index);
  const y = scales.y(index);
  for (const answer of model.marks()) {
    if (model.turnOf(answer) !== turn.id) continue;
    const x = Math.min(scales.right, Math.max(scales.left, scales.x(answer.frequency_hz)));
    drawPoint(to, palette, answer, x, y, Math.max(4, 10 * size));
    if (size < 0.42 || !answer.call) continue;
    const text = answer.retracted_at_s === null ? answer.call : `${answer.call} taken back`;
    to.font = `700 ${Math.max(12, 20 * size)}px ${FACE}`;
    to.textBaseline = "middle";
    const right = x < scales.right - 150;
    to.textAlign = right ? "left" : "right";
    const at = x + (right ? 16 : -16) * Math.max(0.7, size);
    to.lineWidth = 5;
    to.lineJoin = "round";
    to.strokeStyle = palette.panel;
    to.strokeText(text, at, y - 11 * size);
    to.fillStyle = answer.retracted_at_s === null ? palette.ink : palette.soft;
    to.fillText(text, at, y - 11 * size);
  }
}

/**
 * Filled: sure. Hollow: in doubt. Square: by hand. Crossed: taken back.
 * @param {CanvasRenderingContext2D} to @param {Palette} palette @param {import("./model.js").Answer} answer
 * @param {number} x @param {number} y @param {number} radius
 */
export function drawPoint(to, palette, answer, x, y, radius) {
  to.beginPath();
  if (answer.retracted_at_s !== null) {
    to.moveTo(x - radius * 0.7, y - radius * 0.7);
    to.lineTo(x + radius * 0.7, y + radius * 0.7);
    to.moveTo(x + radius * 0.7, y - radius * 0.7);
    to.lineTo(x - radius * 0.7, y + radius * 0.7);
    to.strokeStyle = palette.soft;
    to.lineWidth = 3;
    to.stroke();
    return;
  }
  if (answer.by === "operator") to.rect(x - radius * 0.9, y - radius * 0.9, radius * 1.8, radius * 1.8);
  else to.arc(x, y, radius, 0, 2 * Math.PI);
  to.fillStyle = answer.confidence >= SURE || answer.by === "operator" ? palette.mark : palette.panel;
  to.fill();
  to.lineWidth = 2.5;
  to.strokeStyle = answer.confidence >= SURE || answer.by === "operator" ? palette.panel : palette.mark;
  to.stroke();
}
