// @ts-check
/** The model of a lesson: what every page knows of the band, and how the lesson stands. */
import { Model } from "./model.js";

/**
 * @typedef {{name: string, title: string, text: string[], modes: string[], goal: string, callers: number, receivers: number,
 *   aids: string[], minutes: number, seed: number}} Level
 * @typedef {{dial_hz: number, other_hz: number, receive_hz: number, transmit_hz: number, split: boolean, locked: boolean,
 *   rit_hz: number, peeking: boolean}} Radio
 * @typedef {{time_s: number, right: boolean, off_hz: number | null, frequency_hz: number, call: string}} Find
 * @typedef {{time_s: number, kind: string, say: string}} Fault
 * @typedef {{stage: string, name: string, title: string, text: string[], goal: string, finds_wanted: number, mode: string,
 *   seed: number, call: string, limit_s: number, dx_hz: number, receivers: number, state: string, radio: Radio,
 *   sending: {what: string, text: string} | null, aids: Record<string, boolean>, words: string, calls: number, finds: Find[],
 *   found: number, faults: Fault[], fault_count: number, sound: boolean, quiet: boolean, sheet: any, trouble: string}} Lesson
 */

export class LessonModel extends Model {
  /** @type {Level[]} */
  courses = [];
  learnerCall = "";
  /** @type {{name: string, mode: string, seed: number | null}} What the command line asked for. */
  chosen = { name: "", mode: "", seed: null };
  /** @type {Lesson | null} */
  lesson = null;
  stage = "choose";
  quiet = false;
  /** The learner has gone back to the list; the lesson that is over stays there. */
  browsing = false;

  /** @param {any} message */
  apply(message) {
    if (message.type === "levels") {
      this.courses = message.levels;
      this.learnerCall = message.call;
      this.chosen = message.chosen;
      byId("views").hidden = message.alone;
    } else if (message.type === "practice") {
      this.stage = message.stage;
      this.quiet = message.quiet;
      this.lesson = message.stage === "choose" ? null : message;
      if (message.stage === "lesson") this.browsing = false;
    } else {
      super.apply(message);
      return;
    }
    this.changed();
  }

  /** What is on the screen: "choose", "lesson" or "over". */
  shown() {
    return this.browsing && this.stage !== "lesson" ? "choose" : this.stage;
  }
}

/** @param {string} id */
export function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {string} id @param {string} text */
export function setText(id, text) {
  const element = byId(id);
  if (element.textContent !== text) element.textContent = text;
}

/** @param {string} text */
export function paragraph(text) {
  const element = document.createElement("p");
  element.textContent = text;
  return element;
}

/** 84 -> "1:24". @param {number} seconds */
export function minutes(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
