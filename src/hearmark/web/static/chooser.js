// @ts-check
/** The list of lessons: which one, in which mode, which pile-up. */
import { byId, paragraph, setText } from "./lesson.js";

/** @typedef {import("./lesson.js").LessonModel} LessonModel @typedef {import("./lesson.js").Level} Level */

const MODES = { cw: "Morse", usb: "voice, USB", lsb: "voice, LSB" };

export class Chooser {
  /** @param {LessonModel} model @param {(wish: Record<string, unknown>) => void} ask */
  constructor(model, ask) {
    this.model = model;
    this.ask = ask;
    /** @type {Level[]} */
    this.built = [];
    this.name = "";
    byId("choice").addEventListener("submit", (event) => {
      event.preventDefault();
      this.begin();
    });
    byId("levels").addEventListener("change", (event) => this.choose(/** @type {HTMLInputElement} */ (event.target).value));
    model.subscribe(() => this.show());
  }

  show() {
    const { model } = this;
    if (!model.courses.length || this.built === model.courses) return;
    this.built = model.courses;
    const before = model.chosen.name || model.lesson?.name || this.name;
    const rows = model.courses.map((level, index) => {
      const label = document.createElement("label");
      const input = document.createElement("input");
      input.type = "radio";
      input.name = "level";
      input.value = level.name;
      const small = document.createElement("small");
      small.textContent = `${level.callers} callers, ${level.receivers === 2 ? "two receivers" : "one receiver"}, ${level.aids.length ? "with aids" : "no aids"}`;
      const title = document.createElement("span");
      title.textContent = `${index + 1}. ${level.title}`;
      label.append(input, title, small);
      return label;
    });
    byId("levels").replaceChildren(byId("choose-title"), ...rows);
    /** @type {HTMLInputElement} */ (byId("call")).value = model.learnerCall;
    const first = model.courses.find((level) => level.name === before) ?? model.courses[0];
    this.choose(first.name);
    if (model.shown() === "choose") this.focus();
  }

  focus() {
    /** @type {HTMLInputElement | null} */ (document.querySelector("#levels input:checked"))?.focus();
  }

  /** @param {string} name */
  choose(name) {
    const level = this.model.courses.find((one) => one.name === name);
    if (!level) return;
    this.name = name;
    const input = /** @type {HTMLInputElement | null} */ (document.querySelector(`#levels input[value="${CSS.escape(name)}"]`));
    if (input) input.checked = true;
    setText("about-title", level.title);
    byId("about-text").replaceChildren(...level.text.map(paragraph));
    const goal = level.goal === "contact" ? "Ends with a contact in the practice log" : "Ends when three answered stations are found";
    setText("about-facts", `${goal}, or after ${level.minutes} minutes.`);
    const mode = /** @type {HTMLSelectElement} */ (byId("mode"));
    const kept = this.model.chosen.mode || mode.value;
    mode.replaceChildren(...level.modes.map((one) => new Option(MODES[/** @type {"cw" | "usb" | "lsb"} */ (one)], one, false, one === kept)));
    const chosen = this.model.chosen;
    const seed = chosen.name === name && chosen.seed !== null ? chosen.seed : level.seed;
    /** @type {HTMLInputElement} */ (byId("seed")).value = String(seed);
  }

  /** @param {number} [seed] */
  begin(seed) {
    const value = /** @type {HTMLInputElement} */ (byId("seed")).value.trim();
    const number = seed ?? (/^\d{1,9}$/.test(value) ? Number(value) : null);
    const call = /** @type {HTMLInputElement} */ (byId("call")).value.trim();
    const mode = /** @type {HTMLSelectElement} */ (byId("mode")).value;
    this.model.browsing = false;
    this.ask({ verb: "begin", name: this.name, mode, seed: number, call });
  }
}
