// @ts-check
/** What to do this second, in one very large word, with its reason; and where we send. */
import { absolute, chance, offset } from "./figures.js";
import { elsewhere, nearHz } from "./places.js";

/** @typedef {import("./model.js").Model} Model */

/** A sign for each cue, so that it is known by shape as well. */
/** @type {Record<string, string>} */
const SIGNS = {
  wait: '<path d="M28 18v64M72 18v64" stroke-width="16"/>',
  listen: '<path d="M16 62a34 34 0 0 1 68 0M16 62v18M84 62v18" stroke-width="12"/>',
  call: '<path d="M50 90V14M18 46 50 12l32 34" stroke-width="14"/>',
  move: '<path d="M8 50h80M60 20l30 30-30 30" stroke-width="14"/>',
  you: '<path d="M50 12v48M50 80v8" stroke-width="18"/>',
  paused: '<path d="M24 20v60l56-30z" stroke-width="10"/>',
  none: '<path d="M24 50h52" stroke-width="10"/>',
};

/** @param {Model} model @param {(cue: string) => void} changed is told each new cue */
export function showCue(model, changed = () => {}) {
  const element = (/** @type {string} */ id) => /** @type {HTMLElement} */ (document.getElementById(id));
  const speak = speaker();
  model.subscribe(() => {
    const advice = model.advice;
    const old = model.old();
    // What was so when it was stopped may not be acted on: the operator can have moved since.
    const paused = !old && model.status?.state === "paused";
    const barredBy = advice && !old ? notNow(model, advice.cue) : "";
    const cue = paused ? "paused" : advice && !old ? (barredBy ? "wait" : advice.cue) : "none";
    const band = element("cue");
    if (band.dataset.cue !== cue) {
      band.dataset.cue = cue;
      changed(cue);
      element("cue-sign").innerHTML = `<g fill="none" stroke="currentColor" stroke-linecap="square">${SIGNS[cue] ?? SIGNS.none}</g>`;
    }
    const target = advice && !old ? advice.transmit_hz : null;
    const own = model.transmitHz;
    const back = cue === "move" && target !== null && own !== null && target < own;
    element("cue-sign").style.transform = back ? "scaleX(-1)" : "";
    band.dataset.old = String(old);
    element("field").dataset.old = String(old && model.status?.state !== "ended");
    set("cue-word", cue === "none" ? "–" : cue);
    const [lead, rest] = paused ? ["Nothing new is heard.", "P goes on."] : old || !advice ? [staleWhy(model), ""] : reason(barredBy || advice.why);
    set("cue-lead", lead);
    set("cue-rest", rest);
    const place = target === null ? "" : offset(target - model.dxHz, model.mode === "cw" ? 2 : 1);
    const success = advice && !old && !paused ? advice.success_per_call : null;
    set("cue-chance", success === null || success === undefined ? "" : `${chance(success)}${place && success < 0.01 ? "" : " of calls"}${place ? ` at ${place}` : ""} get through.`);
    // A dial that the program does not know is set by hand: then the figure to set it to stands here.
    const shown = own ?? target;
    const from = shown === null ? "–" : offset(shown - model.dxHz, Math.abs(shown - model.dxHz) < 100_000 ? digits(shown - model.dxHz) : 0);
    set("own-offset", shown === null ? from : `${from} kHz`);
    const barred = own !== null && model.allowed !== null && model.allowed.known
      && !model.allowed.intervals_hz.some(([low, high]) => own >= low && own <= high);
    const unchecked = model.allowed === null || !model.allowed.known;
    set("own-title", barred ? "Outside your licence!" : own !== null || target === null ? "You send at" : "Set your dial to");
    element("own").dataset.barred = String(barred);
    set("own-figure", shown === null ? "not known" : absolute(shown, digits(shown)));
    set("own-caution", unchecked ? "Licence not known: check that you may." : "");
    const differs = !paused && elsewhere(model, target, own);
    set("own-target", differs ? `better ${place}` : "");
    set("dx-figure", model.dxHz ? absolute(model.dxHz, digits(model.dxHz)) : "–");
    set("dx-mode", `${model.mode.toUpperCase()}${works(model)}`);
    showDx(model, set);
    const better = paused ? "" : own === null && target !== null ? from : differs ? place : "";
    set("cue-live", cue === "none" ? "" : speak(model, cue, paused ? `${lead} ${rest}` : barredBy || (advice?.why ?? ""), better ? { place: better, hz: target ?? 0 } : null));
  });
}

/**
 * The cue in words for who does not see it: new when the cue is, the kind of its reason, or the way to the better place;
 * not with each figure, which would never let a voice come to its end.
 */
function speaker() {
  let words = "", key = "", place = 0, way = 0;
  return (/** @type {Model} */ model, /** @type {string} */ cue, /** @type {string} */ why, /** @type {{place: string, hz: number} | null} */ better) => {
    const wayNow = better ? better.hz - (model.transmitHz ?? model.dxHz) : 0;
    const lead = reason(why)[0];
    // The reason's own figure follows a little later than where we stand
    const far = Number(/([\d.]+) kHz/.exec(lead)?.[1] ?? Math.abs(wayNow) / 1000) * 1000;
    const now = [cue, Math.sign(wayNow), lead.replace(/\S*\d\S*/g, "#")].join("|");
    const near = nearHz(model);
    if (now === key && !(better && (Math.abs(better.hz - place) > near || Math.abs(far - way) > 3 * near))) return words;
    [key, place, way] = [now, better?.hz ?? 0, far];
    words = `${cue}. ${better ? `Better place ${better.place} kilohertz. ` : ""}${why}`;
    return words;
  };
}

/** Kinds of warnings under which a call must not go out. */
const GRAVE = ["on the DX", "split off", "outside privileges", "radio lost"];

/**
 * Why not to send although it is time to: what the radio or the guard says; nothing when there is no objection.
 * @param {Model} model @param {string} cue
 */
function notNow(model, cue) {
  const radio = model.radio;
  if (radio === null || (cue !== "call" && cue !== "you")) return "";
  if (radio.hold) return radio.hold;
  return radio.warnings.find((warning) => GRAVE.includes(warning.kind))?.why ?? "";
}

/**
 * The reason in two: what is so now, and what speaks for the place. The cautions stand beside our own frequency all
 * the time, and are left out here.
 * @param {string} why
 */
function reason(why) {
  const [lead, ...rest] = why.split("; ").filter((part) => !/ not known here: check /.test(part));
  return [lead ?? why, rest.join("; ")];
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
  const own = model.ownCall;
  const ours = own !== null && own.time_s >= over.start_s - 0.3;
  put("dx-state", ours ? `${own.why} (${chance(own.probability)})` : over.stop_s === null ? "he sends" : "he sent");
  put("dx-text", over.text || (over.stop_s === null ? "…" : ""));
}

/** @param {Model} model */
function staleWhy(model) {
  if (model.link === "lost") return "No link to the program. What you see is old; it tries again by itself.";
  if (model.link === "stalled") return "The program has fallen silent. What you see is old.";
  if (model.status?.state === "failed") return model.status.failure;
  if (model.status?.state === "ended") return "The stream has ended.";
  return model.link === "open" ? "Nothing heard from the program yet." : "Connecting.";
}

/** How he works, as his newest overs tell, announced or not: ", split 97 %, up 1.2 to 6.8 kHz". @param {Model} model */
export function works(model) {
  const told = model.working;
  if (!told) return "";
  if (told.split < 0.5) return `, simplex ${sure(1 - told.split)}`;
  const { low_hz: low, high_hz: high } = told;
  if (low === null || high === null) return `, split ${sure(told.split)}`;
  const [near, far] = [Math.abs(low - model.dxHz), Math.abs(high - model.dxHz)].sort((a, b) => a - b);
  const khz = `${(near / 1000).toFixed(1)} to ${(far / 1000).toFixed(1)} kHz`;
  return `, split ${sure(told.split)}, ${low >= model.dxHz ? "up" : "down"} ${khz}`;
}

/** @param {number} probability */
function sure(probability) {
  return `${Math.min(99, Math.round(probability * 100))} %`;
}
