// @ts-check
/** Starts the page of practice: keys and buttons from one list, the link, the views. */
import { BandField } from "./byear.js";
import { Chooser } from "./chooser.js";
import { DeskView } from "./deskview.js";
import { loadDescription } from "./frames.js";
import { LessonModel, byId, setText } from "./lesson.js";
import { Link } from "./link.js";
import { showScores } from "./scores.js";
import { Sound } from "./sound.js";

/** @typedef {{key: string, shown: string, name: string, button?: string, stage?: string, pressed?: () => boolean, repeats?: boolean, act: (wide: boolean) => void}} Command */

const NOTICE_MS = 5000;
/** From a sound frame's arrival the stream goes on in the ears; a frame is this long. */
const FRAME_S = 0.08;
/** Buttons under each dial, for hands without a keyboard. */
const TURNS = [[-1, true, "\u2212\u2212", "lower, ten steps"], [-1, false, "\u2212", "lower"], [1, false, "+", "higher"], [1, true, "++", "higher, ten steps"]];

const model = new LessonModel();
const sound = new Sound();
let frame = { time_s: 0, at_ms: 0 };
const link = new Link(model, await loadDescription(), (got) => {
  if (got.kind === "sound") frame = { time_s: got.values.time_s, at_ms: performance.now() };
  sound.play(got);
}, "/practice/link");
const ask = (/** @type {Record<string, unknown>} */ wish) => link.ask(wish);
const field = new BandField(/** @type {HTMLCanvasElement} */ (byId("canvas")), model);
const chooser = new Chooser(model, (wish) => {
  void turnSound(true);
  ask(wish);
});
const desk = new DeskView(model, sound);
showScores(model);

/** What is in the learner's ears now, on the stream's clock; nothing while the sound is off. */
function heardS() {
  if (!sound.on || !frame.at_ms) return null;
  const since_s = Math.min((performance.now() - frame.at_ms) / 1000, FRAME_S);
  return Math.max(0, frame.time_s - sound.delayS() + since_s);
}

/** @param {boolean} on */
async function turnSound(on) {
  if (on) await sound.start();
  else await sound.stop();
  if (on && sound.trouble) notify(sound.trouble);
  ask({ verb: "sound", on });
  model.changed();
}

/** @param {string} dial @param {number} by @param {boolean} wide */
function turn(dial, by, wide) {
  const step = (model.lesson?.mode ?? "cw") === "cw" ? 20 : 100;
  ask({ verb: "turn", dial, hz: by * step * (wide ? 10 : 1) });
}

const radio = () => model.lesson?.radio;
const send = (/** @type {string} */ what) => ask({ verb: "send", what, heard_s: heardS() });

/** @type {Command[]} */
const commands = [
  { key: " ", shown: "Space", name: "send your call, once", button: "Call", act: () => send("call") },
  { key: "Enter", shown: "Enter", name: "send the report, when he has sent your call", button: "Report", act: () => send("report") },
  { key: "ArrowLeft", shown: "←", name: "transmit dial lower (with Shift: ten times)", repeats: true, act: (wide) => turn("transmit", -1, wide) },
  { key: "ArrowRight", shown: "→", name: "transmit dial higher (with Shift: ten times)", repeats: true, act: (wide) => turn("transmit", 1, wide) },
  { key: "t", shown: "T", name: "type the transmit frequency: 14028, or +5 from him", button: "Type", act: () => typing(true) },
  { key: "a", shown: "A", name: "receive dial lower (with Shift: ten times)", repeats: true, act: (wide) => turn("receive", -1, wide) },
  { key: "d", shown: "D", name: "receive dial higher (with Shift: ten times)", repeats: true, act: (wide) => turn("receive", 1, wide) },
  { key: "x", shown: "X", name: "split on or off", button: "Split", pressed: () => radio()?.split === true, act: () => ask({ verb: "split", on: !radio()?.split }) },
  { key: "k", shown: "K", name: "lock the receive dial", button: "Lock", pressed: () => radio()?.locked === true, act: () => ask({ verb: "lock", on: !radio()?.locked }) },
  { key: ",", shown: ",", name: "RIT lower", repeats: true, act: (wide) => rit(-10 * (wide ? 10 : 1)) },
  { key: ".", shown: ".", name: "RIT higher", repeats: true, act: (wide) => rit(10 * (wide ? 10 : 1)) },
  { key: "0", shown: "0", name: "RIT off", act: () => ask({ verb: "rit", hz: 0 }) },
  { key: "e", shown: "E", name: "transmit dial to where the receive dial stands", act: () => ask({ verb: "level" }) },
  { key: "y", shown: "Y", name: "the two dials change places", act: () => ask({ verb: "exchange" }) },
  { key: "v", shown: "V", name: "hold to peek: listen on the transmit dial (one receiver)", button: "Peek", act: () => peek(true) },
  { key: "m", shown: "M", name: "mark: the answered station replies here", button: "Mark", act: () => ask({ verb: "mark", heard_s: heardS() }) },
  { key: "1", shown: "1", name: "show or hide what he sends", button: "Words", pressed: () => model.lesson?.aids.words === true, act: () => aid("words") },
  { key: "2", shown: "2", name: "show or hide the marks of the program", button: "Marks", pressed: () => model.lesson?.aids.marks === true, act: () => aid("marks") },
  { key: "3", shown: "3", name: "show or hide the hill where he may listen next", button: "Ear", pressed: () => model.lesson?.aids.ear === true, act: () => aid("ear") },
  { key: "q", shown: "Q", name: "quiet the left ear by 10 dB", pressed: () => model.quiet, act: () => ask({ verb: "quiet", on: !model.quiet }) },
  { key: "s", shown: "S", name: "sound on or off", button: "Sound", pressed: () => sound.on, act: () => void turnSound(!sound.on) },
  { key: "p", shown: "P", name: "pause", button: "Pause", pressed: () => model.status?.state === "paused", act: () => ask({ verb: "pause", on: model.status?.state !== "paused" }) },
  { key: "g", shown: "G", name: "log the contact: type his call", act: () => byId("log-call").focus() },
  { key: "Escape", shown: "Esc", name: "end the lesson", button: "End", act: () => ask({ verb: "leave" }) },
  { key: "r", shown: "R", name: "when it is over: the same pile-up again", stage: "over", act: () => again(model.lesson?.seed ?? 1) },
  { key: "n", shown: "N", name: "when it is over: a new pile-up", stage: "over", act: () => again((model.lesson?.seed ?? 1) + 1) },
  { key: "l", shown: "L", name: "when it is over: all lessons", stage: "over", act: () => browse() },
  { key: "?", shown: "?", name: "this sheet", button: "Keys", stage: "any", act: () => /** @type {HTMLDialogElement} */ (byId("help")).showModal() },
];

/** @param {number} by_hz */
function rit(by_hz) {
  ask({ verb: "rit", hz: (radio()?.rit_hz ?? 0) + by_hz });
}

/** @param {string} what */
function aid(what) {
  ask({ verb: "aid", what, on: !model.lesson?.aids[what] });
}

/** @param {boolean} on */
function peek(on) {
  ask({ verb: "peek", on });
}

/** @param {number} seed */
function again(seed) {
  const lesson = model.lesson;
  if (!lesson) return;
  void turnSound(true);
  ask({ verb: "begin", name: lesson.name, mode: lesson.mode, seed, call: lesson.call });
}

function browse() {
  model.browsing = true;
  model.changed();
  requestAnimationFrame(() => chooser.focus());
}

/** @param {boolean} on */
function typing(on) {
  const box = /** @type {HTMLInputElement} */ (byId("typed-hz"));
  byId("typed").classList.toggle("shown", on);
  box.value = "";
  if (on) box.focus();
  else box.blur();
}

/** @param {string} text */
function notify(text) {
  setText("notice", text);
  byId("notice").classList.add("shown");
  clearTimeout(noticeTimer);
  noticeTimer = setTimeout(() => byId("notice").classList.remove("shown"), NOTICE_MS);
}
let noticeTimer = 0;

function build() {
  for (const command of commands) {
    const line = document.createElement("p");
    line.append(command.name, keycap(command.shown));
    byId("help-keys").append(line);
    if (!command.button) continue;
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.key = command.key;
    button.append(command.button, keycap(command.shown));
    if (command.key === "v") {
      button.addEventListener("pointerdown", () => peek(true));
      for (const end of ["pointerup", "pointerleave"]) button.addEventListener(end, () => radio()?.peeking && peek(false));
    } else {
      button.addEventListener("click", (event) => {
        command.act(event.shiftKey);
        // After a pointer's click the keys belong to the radio again, Space above all.
        if (event.detail > 0) button.blur();
      });
    }
    byId("controls").append(button);
  }
  for (const row of /** @type {NodeListOf<HTMLElement>} */ (document.querySelectorAll(".turn"))) {
    const dial = row.dataset.dial ?? "";
    for (const [by, wide, text, name] of /** @type {[number, boolean, string, string][]} */ (TURNS)) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = text;
      button.setAttribute("aria-label", `${dial} dial ${name}`);
      button.addEventListener("click", (event) => {
        turn(dial, by, wide);
        if (event.detail > 0) button.blur();
      });
      row.append(button);
    }
  }
  for (const [id, key] of [["again", "r"], ["another", "n"], ["lessons", "l"]]) {
    byId(id).addEventListener("click", () => commands.find((one) => one.key === key)?.act(false));
  }
  byId("log-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const box = /** @type {HTMLInputElement} */ (byId("log-call"));
    ask({ verb: "log", text: box.value.trim() });
    box.value = "";
    box.blur();
  });
  const box = /** @type {HTMLInputElement} */ (byId("typed-hz"));
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter") ask({ verb: "put", dial: "transmit", text: box.value.trim() });
    if (event.key === "Enter" || event.key === "Escape") {
      event.preventDefault();
      event.stopPropagation();
      typing(false);
    }
  });
  box.addEventListener("blur", () => typing(false));
  const single = /** @type {HTMLInputElement} */ (byId("keys-on"));
  single.checked = localStorage.getItem("keys") !== "off";
  single.addEventListener("change", () => localStorage.setItem("keys", single.checked ? "on" : "off"));
  document.addEventListener("keydown", onKey);
  const letGo = () => radio()?.peeking && peek(false);
  document.addEventListener("keyup", (event) => event.key.toLowerCase() === "v" && letGo());
  addEventListener("blur", letGo);
  byId("field").addEventListener("click", (event) => {
    if (event.target !== field.canvas || !model.lesson) return;
    ask({ verb: "put", dial: "transmit", text: String(Math.round(field.scales.hz(event.offsetX) / 10) / 100) });
  });
}

/** @param {KeyboardEvent} event */
function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  const single = /** @type {HTMLInputElement} */ (byId("keys-on")).checked;
  if (!single && event.key !== "?") return;
  // A sheet that has just closed keeps the focus until the next frame.
  const target = event.target instanceof HTMLElement && event.target.checkVisibility() ? event.target : null;
  if (target instanceof HTMLInputElement || target instanceof HTMLSelectElement) return;
  if (target instanceof HTMLButtonElement && (event.key === "Enter" || event.key === " ")) return;
  if (target instanceof HTMLAnchorElement && event.key === "Enter") return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const shown = model.shown();
  const command = commands.find((one) => one.key === key && [shown, "any"].includes(one.stage ?? "lesson"));
  if (!command) return;
  event.preventDefault();
  if (event.repeat && !command.repeats) return;
  command.act(event.shiftKey);
}

/** @param {string} text */
function keycap(text) {
  const key = document.createElement("kbd");
  key.textContent = text;
  return key;
}

link.onRefused = notify;
let stage = "";
model.subscribe(() => {
  const shown = model.shown();
  if (shown !== stage) {
    stage = shown;
    // What had the focus is gone with its part of the page.
    if (document.activeElement instanceof HTMLElement && document.activeElement !== document.body && !document.activeElement.offsetParent) document.activeElement.blur();
    if (shown === "lesson") document.activeElement instanceof HTMLElement && document.activeElement.blur();
  }
  if (model.lesson?.trouble) notify(model.lesson.trouble);
  for (const command of commands) {
    const button = document.querySelector(`#controls button[data-key="${CSS.escape(command.key)}"]`);
    if (!(button instanceof HTMLButtonElement)) continue;
    if (command.pressed) button.setAttribute("aria-pressed", String(command.pressed()));
    button.disabled = command.key === "v" && model.lesson?.receivers === 2;
  }
});
build();
link.open();

// For looking inside from the browser's console, and for the tests.
Object.assign(globalThis, { hearmark: { model, sound, field, link, desk, chooser, commands, heardS } });
