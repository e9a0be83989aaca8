// @ts-check
/** The one model: what the program has said so far, and the scales by which layers draw it. */

/**
 * @typedef {{id: number, start_s: number, stop_s: number | null, frequency_hz: number, text: string, kind: string, kind_probability: number}} Over
 * @typedef {{id: number, start_s: number, stop_s: number | null, after_over: number, callers: number}} Turn
 * @typedef {{id: number, start_s: number, stop_s: number | null, marked_at_s: number, frequency_hz: number, confidence: number,
 *   call: string | null, turn: number | null, by: string, retracted_at_s: number | null, earlier?: boolean}} Answer
 * @typedef {{id: number, start_s: number, stop_s: number | null, frequency_hz: number, call: string | null}} Emission
 * @typedef {{id: number, time_s: number, kind: string, heard: string, letters: string, probability: number, why: string}} OwnCall
 * @typedef {{time_s: number, low_hz: number, step_hz: number, density_per_hz: number[], habit: string}} Ear
 * @typedef {{time_s: number, split: number, mode: string, overs: number, low_hz: number | null, high_hz: number | null}} Working
 * @typedef {{time_s: number, cue: string, transmit_hz: number | null, success_per_call: number | null, why: string}} Advice
 * @typedef {{now_s: number, state: string, failure: string, behind_s: number, slipped_s: number, dropped: Record<string, number>,
 *   sound: boolean, audio?: boolean, sound_trouble: string, duck: boolean, spot_hz: number, filters?: Record<"left" | "right", string>, station?: Station | null}} Status
 * @typedef {{call: string, name: string, needs: string, level: string, duplicate: boolean, worked: number, logged: string, report: string,
 *   slots: Record<string, string>[]}} Station
 * @typedef {{start_s: number, stop_s: number, why: string}} Gap
 * @typedef {{connected: boolean, why: string, hold: string, set: boolean, following: boolean, peek_hz: number | null,
 *   receive_hz: number | null, transmit_hz: number | null, split: boolean | null, mode: string | null, locked: boolean | null,
 *   keyed: boolean | null, duplex: string, offer: {listen_low_hz: number, listen_high_hz: number, why: string} | null,
 *   warnings: {kind: string, why: string}[], slow_s: number, taken: string}} Radio
 * @typedef {{time_s: number, low_hz: number, step_hz: number, levels: Uint8Array}} Line
 */

const LINES = 900;
/** A turn is shown once it has lasted this long: he may only have paused between two words. */
const SETTLED_S = 0.9;

/** What one session has said: all of it is begun anew with a snapshot. */
class State {
  title = "";
  dxHz = 0;
  /** @type {string} */
  mode = "cw";
  window = { low_hz: 0, high_hz: 1 };
  /** What the field shows across. */
  range = { low_hz: 0, high_hz: 1 };
  /** @type {number | null} */
  transmitHz = null;
  pausable = false;
  /** @type {Map<number, Over>} */
  overs = new Map();
  /** @type {OwnCall | null} What the DX last sent that is our call or like it. */
  ownCall = null;
  /** @type {Map<number, Turn>} */
  turns = new Map();
  /** @type {Turn[] | null} */
  sorted = null;
  /** @type {Map<number, Answer>} */
  answers = new Map();
  /** @type {Map<number, Emission>} */
  emissions = new Map();
  /** @type {Gap[]} */
  gaps = [];
  /** @type {Ear | null} */
  ear = null;
  /** @type {Working | null} Split or simplex, as his overs and the responses to them tell. */
  working = null;
  /** @type {Advice | null} */
  advice = null;
  /** @type {{intervals_hz: [number, number][], known: boolean, why: string} | null} */
  allowed = null;
  /** @type {{clipped_share: number, dropped_samples: number} | null} */
  levels = null;
  /** @type {Status | null} */
  status = null;
  /** @type {Radio | null} The radio beside the session; nothing when frequencies are set by hand. */
  radio = null;
  nowS = 0;
  keyed = false;
  /** @type {Line[]} */
  lines = [];
  /** Counts every line ever added, so that pictures know which are new. */
  lineCount = 0;
}

export class Model extends State {
  /** @type {Set<(model: Model) => void>} */
  listeners = new Set();
  scheduled = false;
  /** "connecting", "open", "lost", "stalled": the link to the program, not the stream. */
  link = "connecting";
  notice = "";
  /** @type {Gap[]} Times for which this page had no link, or the program did not run. */
  unlinked = [];
  /** @type {number | null} Where our own mark is being dragged. */
  dragHz = null;
  /** @type {number | null} */
  lostAt = null;
  lostAtMs = 0;
  session = "";
  /** Sessions that this page has outlived. */
  outlived = 0;
  /** Grows when an earlier state was replaced as a whole. */
  epoch = 0;

  clear() {
    Object.assign(this, new State());
    this.epoch += 1;
  }

  /** @param {(model: Model) => void} listener */
  subscribe(listener) {
    this.listeners.add(listener);
  }

  /** All layers draw once in the next animation frame, however much has changed until then. */
  changed() {
    if (this.scheduled) return;
    this.scheduled = true;
    requestAnimationFrame(() => {
      this.scheduled = false;
      for (const listener of this.listeners) listener(this);
    });
  }

  /** @param {any} message One text frame. */
  apply(message) {
    if (message.type === "snapshot") this.begin(message);
    else if (message.type === "status") this.setStatus(message);
    else if (message.type === "radio") this.radio = message;
    else if (message.type === "logged") this.notice = message.text;
    else this.take(message);
    this.changed();
  }

  /** @param {any} snapshot */
  begin(snapshot) {
    const before = this.lostAt;
    const lines = this.lines;
    const earlier = this.session && snapshot.session !== this.session ? this.kept() : null;
    this.session = snapshot.session;
    this.clear();
    this.title = snapshot.title;
    this.pausable = snapshot.pausable;
    this.transmitHz = snapshot.transmit_hz;
    this.setPlan(snapshot.dx_hz, snapshot.mode, snapshot.window_low_hz, snapshot.window_high_hz);
    for (const event of snapshot.events) this.take(event);
    this.setStatus(snapshot.status);
    this.radio = snapshot.radio ?? null;
    if (earlier) this.restarted(earlier, snapshot.begun_s, snapshot.unheard_s ?? null);
    else if (before === null) {
      // Not a new link, only a fresh state in between: the lines go on.
      if (lines.length && lines[lines.length - 1].time_s <= this.nowS + 1) this.lines = lines, this.lineCount = lines.length;
    } else {
      this.lostAt = null;
      this.unlinked.push({ start_s: before, stop_s: this.nowS, why: "no link" });
      this.notice = `The link was lost for ${Math.round(this.nowS - before)} s of the session; what happened meanwhile is filled in.`;
    }
    if (this.unlinked.length > 20) this.unlinked.shift();
  }

  /** What outlives a session whose program is gone. */
  kept() {
    const { dxHz, mode, nowS, turns, answers, lines, gaps, unlinked } = this;
    return { dxHz, mode, nowS: this.lostAt ?? nowS, turns, answers, lines, gaps, unlinked };
  }

  /**
   * The program was started anew, and its clock with it: what was heard before stands above the gap in which nothing was.
   * So it is when the same program begins to hear something else; then it tells for how long nothing was heard.
   * @param {ReturnType<Model["kept"]>} earlier @param {number} begunS @param {number | null} unheardS
   */
  restarted(earlier, begunS, unheardS) {
    const outageS = this.lostAt !== null ? (performance.now() - this.lostAtMs) / 1000 : unheardS === null ? 0 : unheardS + this.nowS - begunS;
    this.lostAt = null;
    this.unlinked = [];
    const changed = unheardS !== null;
    if (Math.abs(earlier.dxHz - this.dxHz) > 100 || earlier.mode !== this.mode) {
      this.notice = changed ? `Now heard: ${this.title}. Another DX: this is a new session.` : "The program was started anew, for another DX: this is a new session.";
      if (!changed) return;
      // A rung of its own for the gap: of the ladder before, nothing belongs here
      const gap = { start_s: begunS - Math.max(unheardS, 0.1), stop_s: begunS, why: "changed" };
      this.outlived += 1;
      this.turns.set(-this.outlived * 1e6, { id: -this.outlived * 1e6, ...gap, after_over: -1, callers: 0 });
      this.sorted = null;
      this.unlinked.push(gap);
      return;
    }
    const endS = Math.min(begunS, this.nowS - outageS);
    const by = endS - earlier.nowS;
    this.outlived += 1;
    const renumbered = (/** @type {number} */ id) => id < 0 ? id : -1 - id - this.outlived * 1e6;
    const moved = (/** @type {Gap} */ gap) => ({ ...gap, start_s: gap.start_s + by, stop_s: gap.stop_s + by });
    const later = (/** @type {number | null} */ time) => time === null ? null : time + by;
    const turns = [...earlier.turns.values()].map((turn) => ({ ...turn, id: renumbered(turn.id), start_s: turn.start_s + by, stop_s: later(turn.stop_s) ?? endS }));
    const answers = [...earlier.answers.values()].map((answer) => ({
      ...answer, id: renumbered(answer.id), start_s: answer.start_s + by, stop_s: later(answer.stop_s), marked_at_s: answer.marked_at_s + by,
      turn: answer.turn === null ? null : renumbered(answer.turn), retracted_at_s: later(answer.retracted_at_s), earlier: true,
    }));
    this.turns = new Map([...turns.map((turn) => /** @type {[number, Turn]} */ ([turn.id, turn])), ...this.turns]);
    this.answers = new Map([...answers.map((answer) => /** @type {[number, Answer]} */ ([answer.id, answer])), ...this.answers]);
    this.sorted = null;
    for (const answer of answers) if (answer.confidence >= 0.5) this.include(answer.frequency_hz);
    this.lines = earlier.lines.map((line) => ({ ...line, time_s: line.time_s + by }));
    this.lineCount = this.lines.length;
    this.unlinked = [...earlier.gaps, ...earlier.unlinked].map(moved).slice(-19);
    this.unlinked.push({ start_s: endS, stop_s: begunS, why: changed ? "changed" : "not heard" });
    if (changed) this.notice = `Now heard: ${this.title}; ${Math.max(1, Math.round(begunS - endS))} s were not heard. What stands above the gap was heard before.`;
    else this.notice = `The program was started anew; ${Math.max(1, Math.round(begunS - endS))} s were not heard by it. What stands above the gap is of the session before.`;
  }

  /** The link is gone: what is shown is old from here on. */
  lose() {
    this.link = "lost";
    if (this.lostAt === null) [this.lostAt, this.lostAtMs] = [this.nowS, performance.now()];
    this.changed();
  }

  /** @param {Status} status */
  setStatus(status) {
    this.status = status;
    this.nowS = Math.max(this.nowS, status.now_s);
  }

  /** @param {number} dx @param {string} mode @param {number} low @param {number} high */
  setPlan(dx, mode, low, high) {
    this.dxHz = dx;
    this.mode = mode;
    this.window = { low_hz: low, high_hz: high };
    const pad = Math.max((high - low) * 0.08, 200);
    this.range = { low_hz: low - pad, high_hz: high + pad };
  }

  /** Makes room for something outside the range, in steps, so that the scale rarely moves. @param {number} hz */
  include(hz) {
    const span = this.window.high_hz - this.window.low_hz;
    if (Math.abs(hz - (this.window.low_hz + this.window.high_hz) / 2) > span * 1.5) return;
    const step = span / 5;
    while (hz < this.range.low_hz + step / 4) this.range = { ...this.range, low_hz: this.range.low_hz - step };
    while (hz > this.range.high_hz - step / 4) this.range = { ...this.range, high_hz: this.range.high_hz + step };
  }

  /** @param {any} event */
  take(event) {
    const times = [event.time_s, event.start_s, event.stop_s, event.marked_at_s].filter((t) => typeof t === "number");
    if (event.type !== "Plan") this.nowS = Math.max(this.nowS, ...times.filter((t) => t < this.nowS + 60 || this.nowS === 0));
    switch (event.type) {
      case "Over": keep(this.overs, event, 120); break;
      case "OwnCall": this.ownCall = event; break;
      case "Turn": keep(this.turns, event, 120); this.sorted = null; break;
      case "Emission": keep(this.emissions, event, 400); break;
      case "Answer":
        keep(this.answers, event, 200);
        if (event.confidence >= 0.5) this.include(event.frequency_hz);
        break;
      case "Gap": this.gaps.push(event); if (this.gaps.length > 60) this.gaps.shift(); break;
      case "Ear": this.ear = event; break;
      case "Working": this.working = event; break;
      case "Advice": this.advice = event; break;
      case "Allowed": this.allowed = event; break;
      case "Levels": this.levels = event; break;
      case "KeyState": this.keyed = event.keyed; break;
      case "RadioState":
        if (event.transmit_hz !== null) { this.transmitHz = event.transmit_hz; this.include(event.transmit_hz); }
        break;
      case "Plan": this.setPlan(event.receive_hz, event.mode, event.listen_low_hz, event.listen_high_hz); break;
    }
  }

  /** @param {Line} line */
  addLine(line) {
    const last = this.lines[this.lines.length - 1];
    if (last && line.time_s <= last.time_s) return;
    this.lines.push(line);
    this.lineCount += 1;
    if (this.lines.length > LINES) this.lines.shift();
    this.nowS = Math.max(this.nowS, line.time_s);
    this.changed();
  }

  /** Turns, newest first; without pauses in an over that were taken for its end, and without what may yet prove to be one. */
  rungs() {
    this.sorted ??= [...this.turns.values()].sort((a, b) => b.start_s - a.start_s);
    const marked = new Set([...this.answers.values()].map((answer) => answer.turn));
    return this.sorted.filter((turn) => turn.stop_s === null
      ? this.nowS - turn.start_s >= SETTLED_S || marked.has(turn.id)
      : turn.stop_s - turn.start_s > 0.05);
  }

  /** Which turn an answer belongs to: as told, else the last that began before it. @param {Answer} answer */
  turnOf(answer) {
    const rungs = this.rungs();
    if (answer.turn !== null && rungs.some((t) => t.id === answer.turn)) return answer.turn;
    const turn = rungs.find((t) => t.start_s <= answer.start_s + 0.5);
    return turn ? turn.id : null;
  }

  /** Marks that stand, oldest first. */
  marks() {
    return [...this.answers.values()].sort((a, b) => a.start_s - b.start_s);
  }

  /** The last mark that has not been taken back. */
  lastMark() {
    return this.marks().filter((a) => a.retracted_at_s === null && !a.earlier).pop() ?? null;
  }

  /** Where the belief is highest. @returns {number | null} */
  peakHz() {
    if (!this.ear || !this.ear.density_per_hz.length) return null;
    const density = this.ear.density_per_hz;
    let best = 0;
    for (let i = 1; i < density.length; i += 1) if (density[i] > density[best]) best = i;
    return this.ear.low_hz + best * this.ear.step_hz;
  }

  /** Where to call as advised; nothing when that advice may be out of date. @returns {number | null} */
  adviceHz() {
    return this.old() ? null : this.advice?.transmit_hz ?? null;
  }

  /** Whether what is shown may be out of date. */
  old() {
    return this.link !== "open" || !this.status || ["ended", "failed"].includes(this.status.state);
  }
}

/**
 * Newest state of each id, bounded.
 * @template {{id: number}} T
 * @param {Map<number, T>} map
 * @param {T} item
 * @param {number} most
 */
function keep(map, item, most) {
  map.set(item.id, item);
  while (map.size > most) map.delete(/** @type {number} */ (map.keys().next().value));
}
