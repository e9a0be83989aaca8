// @ts-check
/** The learner's radio, the lesson's text and faults: figures and words, each change also told to a screen reader. */
import { absolute, offset } from "./figures.js";
import { byId, minutes, paragraph, setText } from "./lesson.js";

/** @typedef {import("./lesson.js").LessonModel} LessonModel @typedef {import("./lesson.js").Lesson} Lesson */

const FAULT_MS = 7000;
const ON_HIM_HZ = { cw: 300, usb: 2700, lsb: 2700 };

export class DeskView {
  /** @param {LessonModel} model @param {import("./sound.js").Sound} sound */
  constructor(model, sound) {
    this.model = model;
    this.sound = sound;
    this.faults = 0;
    this.faultTimer = 0;
    this.text = "";
    this.spoken = "";
    model.subscribe(() => this.show());
  }

  show() {
    const { model } = this;
    document.body.dataset.stage = model.shown();
    const lesson = model.lesson;
    this.showState();
    if (!lesson) {
      setText("title", "Practice");
      setText("tally", "");
      setText("clock", "");
      return;
    }
    setText("title", `Practice: ${lesson.title}`);
    const finds = lesson.goal === "answered" ? ` · found ${lesson.found} of ${lesson.finds_wanted}` : "";
    setText("tally", `${lesson.calls} ${lesson.calls === 1 ? "call" : "calls"} · ${lesson.fault_count} ${lesson.fault_count === 1 ? "fault" : "faults"}${finds}`);
    setText("clock", `${minutes(model.nowS)} of ${minutes(lesson.limit_s)}`);
    const text = lesson.text.join("\n");
    if (text !== this.text) {
      this.text = text;
      byId("text").replaceChildren(...lesson.text.map(paragraph));
    }
    this.showRadio(lesson);
    this.showFaults(lesson);
    const logging = lesson.state === "worked";
    if (byId("log").classList.toggle("shown", logging) && document.activeElement === document.body) byId("log-call").focus();
    const words = lesson.aids.words ? lesson.words : "";
    setText("words-head", lesson.aids.words ? "He sent" : "What he sends is yours to hear.");
    setText("words-text", words);
    this.speak(lesson);
  }

  showState() {
    const { model } = this;
    const state = model.link === "open" ? model.status?.state ?? "waiting" : model.link;
    byId("state").dataset.state = state;
    /** @type {Record<string, string>} */
    const words = { running: this.sound.on ? "on the air" : "sound is off: S", lost: "no link, trying again", stalled: "silent", connecting: "connecting", ended: "over", paused: "paused", waiting: "ready" };
    const behind = model.status && model.status.behind_s > 0.5 ? ` · ${model.status.behind_s.toFixed(1)} s behind` : "";
    setText("state-text", `${words[state] ?? state}${behind}`);
  }

  /** @param {Lesson} lesson */
  showRadio(lesson) {
    const { radio } = lesson;
    const dx = lesson.dx_hz;
    const off = radio.receive_hz - dx;
    setText("hear-figure", absolute(radio.receive_hz, 2));
    setText("hear-note", radio.peeking ? "listening on the transmit dial" : Math.abs(off) < 5 ? "on him" : `${offset(off, 2)} kHz from him`);
    const away = radio.transmit_hz - dx;
    const onHim = Math.abs(away) < ON_HIM_HZ[/** @type {"cw" | "usb" | "lsb"} */ (lesson.mode)];
    setText("send-head", radio.split ? "You send, split" : "You send on the same dial");
    byId("send").dataset.danger = String(onHim);
    setText("send-figure", Math.abs(away) < 5 ? "on him" : `${offset(away, 2)} kHz`);
    setText("send-note", radio.split ? absolute(radio.transmit_hz, 2) : `transmit dial ${absolute(radio.other_hz, 2)}, ${offset(radio.other_hz - dx, 2)}`);
    flip("split", radio.split, radio.split ? "split on" : "split off");
    flip("lock", radio.locked, radio.locked ? "dial locked" : "dial free");
    flip("rit", radio.rit_hz !== 0, radio.rit_hz ? `RIT ${radio.rit_hz > 0 ? "+" : "\u2212"}${Math.abs(radio.rit_hz)} Hz` : "RIT off");
    setText("ears", lesson.receivers === 2 ? "two receivers" : "one receiver");
    byId("ears").dataset.plain = "true";
    byId("key").dataset.sending = String(lesson.sending !== null);
    const ended = { worked: "worked", done: "done", "time is up": "time", left: "left" }[lesson.state];
    setText("key-word", lesson.sending ? "sending" : ended ?? "listen");
    setText("key-text", lesson.sending ? lesson.sending.text : lesson.state === "worked" ? "type his call and log it" : lesson.state !== "running" ? "" : lesson.goal === "answered" ? "M marks the lone reply" : `Space sends ${lesson.call}`);
  }

  /** @param {Lesson} lesson */
  showFaults(lesson) {
    if (lesson.fault_count === this.faults && byId("faults").childElementCount) return;
    const fresh = lesson.fault_count > this.faults;
    this.faults = lesson.fault_count;
    const lines = lesson.faults.toReversed().map((fault) => {
      const line = document.createElement("li");
      line.textContent = `${minutes(fault.time_s)} ${fault.say}`;
      return line;
    });
    if (!lines.length) {
      const line = document.createElement("li");
      line.className = "none";
      line.textContent = "none so far";
      lines.push(line);
    }
    byId("faults").replaceChildren(...lines);
    if (!fresh) return;
    setText("fault", lesson.faults[lesson.faults.length - 1].say);
    byId("fault").classList.add("shown");
    clearTimeout(this.faultTimer);
    this.faultTimer = setTimeout(() => byId("fault").classList.remove("shown"), FAULT_MS);
  }

  /** @param {Lesson} lesson */
  speak(lesson) {
    const said = lesson.state === "worked" ? "He has confirmed the contact. Type his call and log it."
      : lesson.sending ? `Sending your ${lesson.sending.what}.`
        : lesson.state === "running" ? `Listening. Split ${lesson.radio.split ? "on" : "off"}.` : `The lesson is over: ${lesson.state}.`;
    if (said === this.spoken) return;
    this.spoken = said;
    setText("said", said);
  }
}

/** @param {string} id @param {boolean} on @param {string} text */
function flip(id, on, text) {
  byId(id).dataset.on = String(on);
  setText(id, text);
}
