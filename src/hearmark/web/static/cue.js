// @ts-check
/** What to do this second, in one very large word, with its reason; and where we send. */
import { absolute, chance, offset } from "./figures.js";

/** @typedef {import("./model.js").Model} Model */

/** A sign for each cue, so that it is known by shape as well. */
/** @type {Record<string, string>} */
const SIGNS = {
  wait: '<path d="M28 18v64M72 18v64" stroke-width="16"/>',
  listen: '<path d="M16 62a34 34 0 0 1 68 0M16 62v18M84 62v18" stroke-width="12"/>',
  call: '<path d="M50 90V14M18 46 50 12l32 34" stroke-width="14"/>',
  move: '<path d="M8 50h80M60 20l30 30-30 30" stroke-width="14"/>',
  you: '<path d="M50 12v48M50 80v8" stroke-width="18"/>',
  none: '<path d="M24 50h52" stroke-width="10"/>',
};

/** @param {Model} model */
export function showCue(model) {
  const element = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
  let spoken = "";
  model.subscribe(() => {
    const advice = model.advice;
    const old = model.old();
    const cue = advice && !old ? advice.cue : "none";
    const band = element("cue");
    if (band.dataset.cue !== cue) {
      band.dataset.cue = cue;
      element("cue-sign").innerHTML = `<g fill="none" stroke="currentColor" stroke-linecap="square">${SIGNS[cue] ?? SIGNS.none}</g>`;
    }
    const target = advice && !old ? advice.transmit_hz : null;
    const own = model.transmitHz;
    const back = cue === "move" && target !== null && own !== null && target < own;
    element("cue-sign").style.transform = back ? "scaleX(-1)" : "";
    band.dataset.old = String(old);
    element("field").dataset.old = String(old && model.status?.state !== "ended");
    set("cue-word", cue === "none" ? "–" : cue);
    set("cue-why", old ? staleWhy(model) : advice?.why ?? "Nothing heard from the program yet.");
    const success = advice && !old ? advice.success_per_call : null;
    set("cue-chance", success === null || success === undefined ? "" : `${chance(success)} of calls there get through.`);
    set("own-offset", own === null ? "–" : `${offset(own - model.dxHz, digits(own - model.dxHz))} kHz`);
    const barred = own !== null && model.allowed !== null && model.allowed.known
      && !model.allowed.intervals_hz.some(([low, high]) => own >= low && own <= high);
    set("own-title", barred ? "Outside your licence!" : "You send at");
    element("own").dataset.barred = String(barred);
    set("own-figure", own === null ? "not known" : absolute(own, digits(own)));
    const differs = target !== null && (own === null || Math.abs(target - own) > 20);
    set("own-target", differs && target !== null ? `better ${offset(target - model.dxHz, model.mode === "cw" ? 2 : 1)}` : "");
    set("dx-figure", model.dxHz ? absolute(model.dxHz, digits(model.dxHz)) : "–");
    set("dx-mode", model.mode.toUpperCase());
    showDx(model, set);
    const words = `${cue}. ${differs && target !== null ? `Better place ${offset(target - model.dxHz)} kilohertz. ` : ""}${advice?.why ?? ""}`;
    const key = `${cue} ${differs && target !== null ? offset(target - model.dxHz) : ""}`;
    if (cue !== "none" && key !== spoken) {
      spoken = key;
      set("cue-live", words);
    }
  });
}

/** One decimal where it is exact, else two. @param {number} hz */
function digits(hz) {
  return Math.abs(hz / 100 - Math.round(hz / 100)) < 0.05 ? 1 : 2;
}

/** @param {string} id @param {string} text */
function set(id, text) {
  const element = /** @type {HTMLElement} */ (document.getElementById(id));
  if (element.textContent !== text) element.textContent = text;
}

/** @param {Model} model @param {(id: string, text: string) => void} put */
function showDx(model, put) {
  const over = [...model.overs.values()].sort((a, b) => a.start_s - b.start_s).pop();
  if (!over) return;
  put("dx-state", over.stop_s === null ? "he sends" : "he sent");
  put("dx-text", over.text || (over.stop_s === null ? "…" : ""));
}

/** @param {Model} model */
function staleWhy(model) {
  if (model.link === "lost") return "No link to the program. What you see is old; it tries again by itself.";
  if (model.link === "stalled") return "The program has fallen silent. What you see is old.";
  if (model.status?.state === "failed") return model.status.failure;
  if (model.status?.state === "ended") return "The stream has ended.";
  return "Connecting.";
}
