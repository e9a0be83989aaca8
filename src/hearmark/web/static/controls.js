// @ts-check
/** Keys and buttons: one list, from which the tool bar, the key handler and the help sheet are made. */
import { Contact } from "./contact.js";
import { offset } from "./figures.js";
import { hands } from "./hands.js";
import { inWindow, lawful, Steps } from "./places.js";
import { clearSheets } from "./sheets.js";
import { Typed } from "./typed.js";

/**
 * @typedef {import("./model.js").Model} Model
 * @typedef {{key: string, shown: string, name: string, button?: string, pressed?: () => boolean, allowed?: () => boolean, radio?: boolean, act: (wide: boolean) => void}} Command
 */

const NOTICE_MS = 6000;

export class Controls {
  /** @param {Model} model @param {import("./link.js").Link} link @param {import("./sound.js").Sound} sound @param {import("./field.js").Field} field @param {import("./cuesound.js").CueSound} cues */
  constructor(model, link, sound, field, cues) {
    this.model = model;
    this.link = link;
    this.sound = sound;
    this.field = field;
    this.cues = cues;
    this.typed = new Typed(model, (why) => this.notify(why));
    /** @type {number | null} A move asked for and not yet confirmed, from which the next step goes on. */
    this.wanted = null;
    this.steps = new Steps(model);
    /** The key that acts repeats by itself. */
    this.held = false;
    /** @type {number | null} */
    this.wantedSpot = null;
    /** The peek key is held. */
    this.peeking = false;
    this.noticeTimer = 0;
    this.lastNotice = "";
    this.lastTaken = "";
    this.contact = new Contact(model, link);
    this.commands = this.list();
    this.build();
    /** @type {string} Where we stood, and how, when something was refused that is still shown as refused. */
    this.refusedAt = "";
    link.onRefused = (why) => {
      this.wanted = null;
      this.notify(why);
      this.refusedAt = this.standing();
    };
    sound.onReport = () => this.showHeard();
    model.subscribe(() => this.show());
  }

  /** @returns {Command[]} */
  list() {
    const { model, link } = this;
    const step = (/** @type {boolean} */ wide) => (model.mode === "cw" ? 50 : 100) * (wide ? 10 : 1);
    return [
      { key: "s", shown: "S", name: "sound: DX left, spot right", button: "Sound", pressed: () => this.sound.on, act: () => this.toggleSound() },
      { key: "r", shown: "R", name: "last answer; Shift: slow", button: "Again", allowed: () => model.lastMark() !== null, act: (wide) => this.replay(wide) },
      { key: "m", shown: "M", name: "mark an answer at the spot", button: "Mark", act: () => link.ask({ verb: "mark", frequency_hz: this.spot() }) },
      { key: "u", shown: "U", name: "take the last mark back", button: "Unmark", allowed: () => model.lastMark() !== null, act: () => this.unmark() },
      { key: "q", shown: "Q", name: "quiet the DX by 10 dB", button: "Quiet DX", pressed: () => model.status?.duck === true, act: () => link.ask({ verb: "duck", on: !model.status?.duck }) },
      { key: "p", shown: "P", name: "pause a recording", button: "Pause", pressed: () => model.status?.state === "paused", allowed: () => model.pausable, act: () => link.ask({ verb: "pause", on: model.status?.state !== "paused" }) },
      { key: "ArrowLeft", shown: "←", name: "send lower; Shift: ×10", act: (wide) => this.send(-step(wide)) },
      { key: "ArrowRight", shown: "→", name: "send higher; Shift: ×10", act: (wide) => this.send(step(wide)) },
      { key: "Enter", shown: "Enter", name: "send where advised", button: "Go there", allowed: () => (model.advice?.transmit_hz ?? null) !== null, act: () => this.follow() },
      { key: "n", shown: "N", name: "type a place; Shift: ear", act: (wide) => this.type(wide) },
      { key: "a", shown: "A", name: "right ear down; Shift: ×10", act: (wide) => this.listen(this.spot() - step(wide)) },
      { key: "d", shown: "D", name: "right ear up; Shift: ×10", act: (wide) => this.listen(this.spot() + step(wide)) },
      { key: "e", shown: "E", name: "right ear to the hilltop", act: () => this.listen(model.peakHz()) },
      { key: "l", shown: "L", name: "right ear to the last mark", act: () => this.listen(model.lastMark()?.frequency_hz ?? null) },
      { key: "o", shown: "O", name: "right ear to where you send", act: () => this.listen(this.wanted ?? model.transmitHz) },
      { key: "x", shown: "X", name: "right filter; Shift: left", act: (wide) => this.filter(wide ? "left" : "right") },
      { key: "c", shown: "C", name: "a sound with each new cue", pressed: () => this.cues.on, act: () => void this.toggleCues() },
      { key: "t", shown: "T", name: "set the radio to the plan", button: "Set radio", radio: true, act: () => this.setRadio() },
      { key: "b", shown: "B", name: "receive dial back on the DX", button: "Back", radio: true, allowed: () => this.away(), act: () => link.ask({ verb: "back" }) },
      { key: "v", shown: "V", name: "held: peek; Shift: 2 s", radio: true, allowed: () => model.radio?.set === true, act: (wide) => this.peek(wide) },
      { key: "f", shown: "F", name: "radio follows the advice", button: "Follow", radio: true, pressed: () => model.radio?.following === true, allowed: () => model.radio?.set === true, act: () => link.ask({ verb: "following", on: !model.radio?.following }) },
      { key: "k", shown: "K", name: "lock the dial", radio: true, allowed: () => model.radio?.locked !== null, act: () => link.ask({ verb: "lock", on: !model.radio?.locked }) },
      { key: "w", shown: "W", name: "what he says: up 5, QSX …", button: "He says", radio: true, act: () => this.say() },
      { key: "g", shown: "G", name: "log him; Shift: look first", button: "Log", allowed: () => this.contact.ready(), act: (wide) => this.contact.log(wide) },
      { key: "h", shown: "H", name: "the path, hour by hour", act: () => { window.open("/path", "hearmark-path"); } },
      { key: "?", shown: "?", name: "this; again: the picture", button: "Keys", act: () => this.help() },
    ];
  }

  build() {
    const bar = byId("controls");
    const sheet = byId("help-keys");
    for (const command of this.commands) {
      const line = document.createElement("p");
      line.append(keycap(command.shown), command.name);
      sheet.append(line);
      if (command.key === "t") sheet.append(first());
      if (!command.button) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.key = command.key;
      button.append(command.button, keycap(command.shown));
      button.addEventListener("click", (event) => command.act(event.shiftKey));
      bar.append(button);
    }
    clearSheets(bar);
    document.addEventListener("keydown", (event) => this.onKey(event));
    const letGo = () => {
      if (!this.peeking) return;
      this.peeking = false;
      this.link.ask({ verb: "back" });
    };
    document.addEventListener("keyup", (event) => event.key.toLowerCase() === "v" && letGo());
    addEventListener("blur", letGo);
    const form = /** @type {HTMLFormElement} */ (byId("say-form"));
    form.addEventListener("submit", () => {
      const text = /** @type {HTMLInputElement} */ (byId("say-text")).value.trim();
      if (text) this.link.ask({ verb: "plan", text });
    });
    byId("say-cancel").addEventListener("click", () => /** @type {HTMLDialogElement} */ (byId("say")).close());
    hands(this.field, this.model, {
      listen: (hz) => this.listen(hz),
      mark: (hz) => this.link.ask({ verb: "mark", frequency_hz: hz }),
      transmit: (hz) => this.transmit(hz),
    });
    byId("help-turn").addEventListener("click", () => this.turnHelp(byId("help").dataset.part !== "picture"));
    const box = /** @type {HTMLInputElement} */ (byId("keys-on"));
    box.checked = localStorage.getItem("keys") !== "off";
    box.addEventListener("change", () => localStorage.setItem("keys", box.checked ? "on" : "off"));
  }

  /** @param {KeyboardEvent} event */
  onKey(event) {
    const sheet = /** @type {HTMLDialogElement | null} */ (document.querySelector("dialog[open]"));
    // A sheet stands beside the ladder and the cue, and stops neither; only the keys are its own
    if (sheet && event.key === "Escape") sheet.close();
    if (sheet?.id === "help" && event.key === "?") this.turnHelp(byId("help").dataset.part !== "picture");
    if (event.ctrlKey || event.metaKey || event.altKey || sheet) return;
    const single = /** @type {HTMLInputElement} */ (byId("keys-on")).checked;
    if (!single && event.key !== "?") return;
    if (event.key === "Enter" && (event.target instanceof HTMLButtonElement || event.target instanceof HTMLAnchorElement)) return;
    // A sheet that has just closed keeps the focus until the next frame
    if (event.target instanceof HTMLInputElement && event.target.checkVisibility()) return;
    const name = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const command = this.commands.find((c) => c.key === name);
    if (!command) return;
    event.preventDefault();
    if (event.repeat && !/^(Arrow|[ad]$)/.test(name)) return;
    if (command.radio && this.model.radio === null) return;
    if (command.allowed && !command.allowed()) return;
    this.held = event.repeat;
    command.act(event.shiftKey);
    this.held = false;
  }

  spot() {
    return this.wantedSpot ?? this.model.status?.spot_hz ?? this.model.window.low_hz;
  }

  /** @param {number | null} hz */
  listen(hz) {
    if (hz === null) return;
    this.wantedSpot = Math.round(hz / 10) * 10;
    this.link.ask({ verb: "spot", frequency_hz: this.wantedSpot });
  }

  /** @param {number} by_hz */
  send(by_hz) {
    const { model } = this;
    const from = this.wanted ?? model.transmitHz ?? model.advice?.transmit_hz ?? (model.window.low_hz + model.window.high_hz) / 2;
    const { hz, why } = this.steps.next(from, by_hz, this.held);
    if (hz !== from) this.transmit(hz);
    if (why) this.notify(why);
  }

  follow() {
    const target = this.model.advice?.transmit_hz ?? null;
    if (target !== null) this.transmit(Math.round(target / 10) * 10);
  }

  /** @param {number} hz @param {boolean} sure outside his window too */
  transmit(hz, sure = true) {
    const { radio } = this.model;
    // What will be refused is no base for the next step
    if (sure && lawful(this.model, hz) && (radio === null || radio.set)) this.wanted = hz;
    this.link.ask({ verb: "transmit", frequency_hz: hz, ...(sure ? {} : { on: false }) });
  }

  /** One key: what he was heard to announce if that is new, else the plan in force. */
  setRadio() {
    if (this.model.radio?.offer) this.link.ask({ verb: "offer" });
    else this.link.ask({ verb: "set" });
  }

  /** Whether the receive dial stands off the DX. */
  away() {
    const radio = this.model.radio;
    return radio !== null && radio.receive_hz !== null && Math.abs(radio.receive_hz - this.model.dxHz) > 5;
  }

  /** @param {boolean} timed */
  peek(timed) {
    this.peeking = !timed;
    this.link.ask({ verb: "peek", frequency_hz: this.spot(), ...(timed ? { on: true } : {}) });
  }

  say() {
    const box = /** @type {HTMLInputElement} */ (byId("say-text"));
    box.value = "";
    /** @type {HTMLDialogElement} */ (byId("say")).show();
    box.focus();
  }

  unmark() {
    const last = this.model.lastMark();
    if (last) this.link.ask({ verb: "unmark", answer: last.id });
  }

  /** @param {boolean} slow */
  async replay(slow) {
    await this.sound.start();
    if (this.sound.trouble) this.notify(this.sound.trouble);
    else this.link.ask({ verb: "replay", ...(slow ? { on: true } : {}) });
  }

  /** @param {boolean} ear */
  type(ear) {
    if (ear) this.typed.open("Right ear at, kHz", (hz) => this.listen(hz));
    else {
      /** @type {number | null} */
      let asked = null;
      this.typed.open("You send at, kHz", (hz) => {
        const sure = hz === asked || inWindow(this.model, hz);
        asked = hz;
        this.transmit(hz, sure);
        return sure;
      });
    }
  }

  /** @param {"left" | "right"} ear */
  filter(ear) {
    const now = this.model.status?.filters?.[ear] ?? "usual";
    const next = { narrow: "usual", usual: "wide", wide: "narrow" }[now] ?? "usual";
    this.link.ask({ verb: "filter", text: `${ear} ${next}` });
    this.notify(`Filter of the ${ear} ear: ${next}.`);
  }

  async toggleCues() {
    await this.cues.toggle();
    this.notify(this.cues.on ? "Each new cue makes a short sound." : "The cue is silent.");
  }

  async toggleSound() {
    if (this.sound.on) {
      await this.sound.stop();
      this.link.ask({ verb: "sound", on: false });
    } else {
      await this.sound.start();
      if (this.sound.trouble) this.notify(this.sound.trouble);
      else this.link.ask({ verb: "sound", on: true });
    }
    this.model.changed();
  }

  help() {
    this.turnHelp(false);
    /** @type {HTMLDialogElement} */ (byId("help")).show();
    byId("help-close").focus();
  }

  /** The sheet has two sides: the keys, and how to read the picture. @param {boolean} picture */
  turnHelp(picture) {
    byId("help").dataset.part = picture ? "picture" : "keys";
    byId("help-title").textContent = picture ? "The picture" : "Keys";
    byId("help-turn").replaceChildren(picture ? "Keys" : "The picture", keycap("?"));
  }

  /** Where we send and whether the radio is set. */
  standing() {
    return `${this.model.transmitHz} ${this.model.radio?.set}`;
  }

  /** A move that was made leaves no older refusal standing. */
  forget() {
    if (!this.refusedAt || this.refusedAt === this.standing()) return;
    this.refusedAt = "";
    clearTimeout(this.noticeTimer);
    byId("notice").classList.remove("shown");
  }

  /** @param {string} text */
  notify(text) {
    this.refusedAt = "";
    const notice = byId("notice");
    notice.textContent = text;
    notice.classList.add("shown");
    clearTimeout(this.noticeTimer);
    this.noticeTimer = setTimeout(() => notice.classList.remove("shown"), NOTICE_MS);
  }

  show() {
    const { model } = this;
    if (this.wanted !== null && model.transmitHz !== null && Math.abs(this.wanted - model.transmitHz) < 6) this.wanted = null;
    if (this.wantedSpot !== null && this.wantedSpot === model.status?.spot_hz) this.wantedSpot = null;
    this.forget();
    const taken = model.radio?.taken ?? "";
    if (taken !== this.lastTaken) {
      this.lastTaken = taken;
      if (taken) this.notify(taken);
    }
    if (model.notice && model.notice !== this.lastNotice) {
      this.lastNotice = model.notice;
      this.notify(model.notice);
    }
    for (const command of this.commands) {
      const button = /** @type {HTMLButtonElement | null} */ (document.querySelector(`button[data-key="${CSS.escape(command.key)}"]`));
      if (!button) continue;
      button.hidden = command.radio === true && model.radio === null;
      button.disabled = model.link !== "open" || (command.allowed ? !command.allowed() : false);
      if (command.pressed) button.setAttribute("aria-pressed", String(command.pressed()));
    }
    document.body.dataset.audio = String(model.status?.audio === true);
    this.contact.show();
    this.showState();
    this.showHeard();
    this.showMarks();
  }

  showState() {
    const { model } = this;
    const status = model.status;
    const state = model.link === "open" ? status?.state ?? "waiting" : model.link;
    byId("state").dataset.state = state;
    /** @type {Record<string, string>} */
    const words = { running: "listening", lost: "no link, trying again", stalled: "silent", connecting: "connecting", failed: "failed", ended: "ended", paused: "paused", waiting: "waiting" };
    const parts = [words[state] ?? state];
    if (model.keyed) parts.push("own transmission: deaf");
    if (status && status.behind_s > 0.5) parts.push(`${status.behind_s.toFixed(1)} s behind`);
    // A recording or a simulation that fell behind has lost nothing: it only took longer.
    if (status && status.slipped_s >= 1 && !model.pausable) parts.push(`${Math.round(status.slipped_s)} s lost`);
    const dropped = status ? Object.values(status.dropped).reduce((sum, n) => sum + n, 0) : 0;
    if (dropped) parts.push(`${dropped} frames dropped`);
    if (model.levels && model.levels.dropped_samples) parts.push(`${model.levels.dropped_samples} samples lost`);
    if (model.levels && model.levels.clipped_share > 0.001) parts.push("receiver overloaded");
    setText("state-text", parts.join(" · "));
  }

  showHeard() {
    const { model, sound } = this;
    const status = model.status;
    if (!status || !sound.on) {
      setText("heard", model.title);
      return;
    }
    if (status.sound_trouble) {
      setText("heard", status.sound_trouble);
      return;
    }
    const delay = sound.report ? ` \u00b7 ${Math.round(sound.delayS() * 100) * 10} ms late` : "";
    const right = sound.report?.replaying ? "last answer" : offset(this.spot() - model.dxHz, 2);
    setText("heard", `L DX \u00b7 R ${right}${delay}`);
  }

  /** The ladder in words, for those who do not see it. */
  showMarks() {
    const { model } = this;
    const lines = model.marks().slice(-8).reverse().map((a) => {
      const sure = a.retracted_at_s !== null ? "taken back" : a.confidence >= 0.5 ? "sure" : "in doubt";
      return `${a.call ?? "a caller"} ${offset(a.frequency_hz - model.dxHz)} kilohertz, ${sure}`;
    });
    const gap = model.unlinked[model.unlinked.length - 1];
    const changed = gap && gap.why === "changed" ? ` Not heard for ${Math.max(1, Math.round(gap.stop_s - gap.start_s))} seconds, when something else was chosen to be heard.` : "";
    const deaf = changed || gap && gap.why === "not heard" ? ` Not heard for ${Math.max(1, Math.round(gap.stop_s - gap.start_s))} seconds, when the program was started anew.` : "";
    setText("marks", (lines.length ? `Last answers, newest first: ${lines.join("; ")}.` : "No answers marked yet.") + deaf);
  }
}

/** @param {string} id */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {string} id @param {string} text */
function setText(id, text) {
  const element = byId(id);
  if (element.textContent !== text) element.textContent = text;
}

/** With a radio: what waits for T. */
function first() {
  const line = document.createElement("p");
  line.id = "help-radio";
  line.append(keycap("T"), "first, then \u2190 \u2192 Enter N");
  return line;
}

/** @param {string} text */
function keycap(text) {
  const key = document.createElement("kbd");
  key.textContent = text;
  return key;
}
