// @ts-check
/** The band of a lesson: the dials always, ladder and ear only as far as the lesson shows them. */
import { drawAxis, drawEar } from "./ear.js";
import { Field } from "./field.js";
import { drawPoint } from "./ladder.js";
import { drawLines, drawSigns, sign } from "./own.js";
import { Scales } from "./scales.js";

const FACE = 'system-ui, "DejaVu Sans", sans-serif';
const ROWS = 7;

export class BandField extends Field {
  /** @param {HTMLCanvasElement} canvas @param {import("./lesson.js").LessonModel} model */
  constructor(canvas, model) {
    super(canvas, model);
    this.lessons = model;
  }

  draw() {
    const { canvas, context, model, palette } = this;
    const lesson = this.lessons?.lesson;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (!lesson || !model.status || !width) return;
    if (lesson.aids.marks) super.draw();
    else {
      const ratio = devicePixelRatio || 1;
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
      context.setTransform(ratio, 0, 0, ratio, 0, 0);
      this.scales = new Scales(width, height, model.range, 1);
      drawLines(context, model, this.scales, palette);
      if (lesson.aids.ear) drawEar(context, model, this.scales, palette);
      drawAxis(context, model, this.scales, palette);
      drawSigns(context, model, this.scales, palette);
      this.drawFinds(lesson);
    }
    const hear = lesson.radio.receive_hz;
    sign(context, this.scales, palette.soft, palette.ink, hear, Math.abs(hear - lesson.dx_hz) < 5 ? "you hear him" : "you hear", "ring");
  }

  /** The learner's own marks, the newest lowest, as notes on paper. @param {import("./lesson.js").Lesson} lesson */
  drawFinds(lesson) {
    const { context, palette, scales } = this;
    const shown = lesson.finds.slice(-ROWS).reverse();
    context.font = `18px ${FACE}`;
    context.textBaseline = "middle";
    if (!shown.length) {
      context.textAlign = "center";
      context.fillStyle = palette.soft;
      const hint = lesson.aids.ear ? "Your marks (M) stand here." : "By ear alone. Your marks (M) stand here.";
      context.fillText(hint, (scales.left + scales.right) / 2, scales.base / 2);
    }
    shown.forEach((find, index) => {
      const y = scales.base - 22 - index * ((scales.base - 40) / ROWS);
      const x = Math.min(scales.right, Math.max(scales.left, scales.x(find.frequency_hz)));
      const answer = { id: 0, start_s: 0, stop_s: null, marked_at_s: 0, frequency_hz: 0, confidence: 1, call: null, turn: null, by: "operator", retracted_at_s: find.right ? null : 0 };
      drawPoint(context, palette, answer, x, y, 9);
      context.fillStyle = palette.ink;
      const right = x < scales.right - 200;
      context.textAlign = right ? "left" : "right";
      const far = find.off_hz === null ? "nobody was replying" : `${Math.round(Math.abs(find.off_hz))} Hz away`;
      context.fillText(find.right ? `${find.call}` : far, x + (right ? 18 : -18), y);
    });
  }
}

