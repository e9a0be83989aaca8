// @ts-check
/** Hands on the field: a click puts the right ear there, two clicks mark, and our own mark can be dragged. */
import { snapped } from "./own.js";

/** @typedef {import("./field.js").Field} Field @typedef {import("./model.js").Model} Model */

/** So near to the line, and to its wedge below, it is taken hold of. */
const LINE_PX = 10;
const WEDGE_PX = 28;
/** Moved less than this it was a click. */
const MOVED_PX = 5;
const SNAP_PX = 14;

/**
 * @param {Field} field @param {Model} model
 * @param {{listen: (hz: number) => void, mark: (hz: number) => void, transmit: (hz: number) => void}} does
 */
export function hands(field, model, does) {
  const canvas = field.canvas;
  /** @type {number | null} */
  let heldAt = null;
  let dragged = false;
  const hz = (/** @type {number} */ x) => field.scales.hz(x);
  const near = (/** @type {PointerEvent} */ event) => {
    if (model.transmitHz === null || model.old()) return false;
    const low = event.offsetY > field.scales.ground - 12;
    return Math.abs(event.offsetX - field.scales.x(model.transmitHz)) <= (low ? WEDGE_PX : LINE_PX);
  };
  const letGo = () => {
    heldAt = null;
    if (model.dragHz === null) return;
    model.dragHz = null;
    model.changed();
  };
  canvas.addEventListener("pointerdown", (event) => {
    dragged = false;
    if (!near(event) || event.button) return;
    heldAt = event.offsetX;
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    canvas.dataset.hold = String(heldAt !== null || near(event));
    if (heldAt === null || (model.dragHz === null && Math.abs(event.offsetX - heldAt) < MOVED_PX)) return;
    dragged = true;
    const x = Math.min(field.scales.right, Math.max(field.scales.left, event.offsetX));
    const target = snapped(model);
    const snaps = target !== null && Math.abs(field.scales.x(target) - x) <= SNAP_PX;
    model.dragHz = snaps ? target : Math.round(hz(x) / 10) * 10;
    model.changed();
  });
  canvas.addEventListener("pointerup", () => {
    const wanted = model.dragHz;
    letGo();
    if (wanted !== null) does.transmit(wanted);
  });
  canvas.addEventListener("pointercancel", letGo);
  document.addEventListener("keydown", (event) => event.key === "Escape" && letGo());
  canvas.addEventListener("click", (event) => {
    if (!dragged) does.listen(hz(event.offsetX));
  });
  canvas.addEventListener("dblclick", (event) => {
    if (!dragged) does.mark(hz(event.offsetX));
  });
}
