// @ts-check
/** The view After: what the session came to, how the advice held, his way through the window, and the log. */
import { absolute, offset } from "./figures.js";

/**
 * @typedef {{id: number, start_s: number, frequency_hz: number, confidence: number, call: string | null, by: string, retracted_at_s: number | null}} Mark
 * @typedef {{answer: number, made_s: number, peak_hz: number, bits: number, advised_hz: number | null, own_hz: number | null}} Forecast
 * @typedef {{answers: number, within_reach: number, median_away_hz: number}} Rule
 * @typedef {{dx: {call: string, frequency_hz: number, mode: string}, window_hz: [number, number] | null, duration_s: number, turns: [number, number | null][],
 *   answers: Mark[], forecasts: Forecast[], calls: {start_s: number, frequency_hz: number | null}[], told?: [number, string, number | null, string][],
 *   worked: {time_s: number, frequency_hz: number | null} | null}} Facts
 * @typedef {{number: number, start: string, call: string, band: string, mode: string, freq_hz: number | null, freq_rx_hz: number | null, sent: string, received: string,
 *   place: string, calls_made: string, now: boolean}} Contact
 * @typedef {{trouble?: string, title: string, live: boolean, facts: Facts, lessons: {rules: Record<string, Rule>}, words: string[], rules: Record<string, string>,
 *   reach_hz: number, sessions: {number: number, name: string}[], log: string | null, contacts: Contact[], count: number}} Answer
 */

const WIDE = 1200, LEFT = 70, RIGHT = 110, TOP = 30, MOST = 60;
const NS = "http://www.w3.org/2000/svg";

/** @param {string} id */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {number} seconds */
function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** @param {(string | number | null | {text: string, class: string})[]} cells */
function row(cells) {
  const line = document.createElement("tr");
  for (const cell of cells) {
    const box = document.createElement("td");
    if (cell !== null && typeof cell === "object") {
      box.textContent = cell.text;
      box.className = cell.class;
    } else box.textContent = String(cell ?? "");
    line.append(box);
  }
  return line;
}

/** @param {string} table @param {HTMLTableRowElement[]} rows */
function put(table, rows) {
  byId(table).hidden = !rows.length;
  /** @type {HTMLElement} */ (byId(table).querySelector("tbody")).replaceChildren(...rows);
}

/** @param {string} text */
const figure = (text) => ({ text, class: "figure" });

/** @param {Answer} answer */
function show(answer) {
  const list = /** @type {HTMLSelectElement} */ (byId("session"));
  const chosen = list.value;
  list.replaceChildren(new Option("this one, so far", ""), ...answer.sessions.map((one) => new Option(`${one.number}: ${one.name}`, String(one.number))));
  list.value = chosen;
  byId("title").textContent = answer.live ? "This session, so far" : answer.title;
  byId("words").replaceChildren(...answer.words.map((text) => {
    const line = document.createElement("p");
    line.textContent = text;
    return line;
  }));
  showRules(answer);
  showWay(answer);
  showLog(answer);
  document.body.dataset.shown = answer.live ? "now" : list.value;
}

/** @param {Answer} answer */
function showRules({ lessons, rules, reach_hz }) {
  const known = Object.entries(lessons.rules);
  const best = Math.max(0, ...known.map(([, rule]) => rule.within_reach / rule.answers));
  put("rules", known.map(([name, rule]) => {
    const line = row([rules[name], figure(String(rule.within_reach)), figure(String(rule.answers)), figure(`${(rule.median_away_hz / 1000).toFixed(2)} kHz`)]);
    if (best > 0 && rule.within_reach / rule.answers === best) line.className = "best";
    return line;
  }));
  byId("advice-none").hidden = known.length > 0;
  byId("reach").hidden = known.length === 0;
  byId("reach").textContent = `In reach: nearer than ${reach_hz} Hz to where the next one was answered. To stand there is not to be heard: others call there too. Bold: the best here, by few answers often by chance.`;
}

/** @param {Answer} answer */
function showWay({ facts, reach_hz }) {
  const dx = facts.dx.frequency_hz;
  const made = new Map(facts.forecasts.map((one) => [one.answer, one]));
  const marks = [...facts.answers].sort((a, b) => a.start_s - b.start_s).slice(-MOST);
  byId("way-none").hidden = marks.length > 0;
  byId("way-figure").hidden = !marks.length;
  put("answers", marks.map((mark) => {
    const before = made.get(mark.id);
    const at = (/** @type {number | null | undefined} */ hz) => hz === null || hz === undefined ? "" : {
      text: offset(hz - dx, 2), class: Math.abs(hz - mark.frequency_hz) <= reach_hz ? "figure in" : "figure",
    };
    const told = (facts.told ?? []).filter(([time_s]) => time_s <= mark.start_s).pop();
    const line = row([
      clock(mark.start_s), { text: `${mark.call ?? "?"}${mark.by === "operator" ? ", by hand" : ""}${mark.retracted_at_s === null ? "" : ", taken back"}`, class: "call" },
      figure(offset(mark.frequency_hz - dx, 2)), at(before?.advised_hz), at(before?.peak_hz), at(before?.own_hz), told ? `${told[1]}: ${told[3]}` : "",
    ]);
    line.dataset.back = String(mark.retracted_at_s !== null);
    return line;
  }));
  if (marks.length) draw(facts, marks, made);
}

/** @param {Facts} facts @param {Mark[]} marks @param {Map<number, Forecast>} made */
function draw(facts, marks, made) {
  const dx = facts.dx.frequency_hz;
  const first = Math.max(0, marks[0].start_s - 20), last = Math.max(facts.duration_s, marks[marks.length - 1].start_s + 5);
  const places = [...marks.map((one) => one.frequency_hz), ...(facts.window_hz ?? [])];
  const low = Math.min(...places), high = Math.max(...places), pad = Math.max((high - low) * 0.05, 100);
  const tall = Math.min(900, Math.max(200, 26 * marks.length + 60));
  const x = (/** @type {number} */ hz) => LEFT + ((hz - low + pad) / (high - low + 2 * pad)) * (WIDE - LEFT - RIGHT);
  const y = (/** @type {number} */ s) => TOP + ((s - first) / (last - first)) * (tall - TOP - 14);
  const svg = byId("way");
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${WIDE} ${tall}`);
  const add = (/** @type {string} */ kind, /** @type {Record<string, string | number>} */ of, text = "") => {
    const made = document.createElementNS(NS, kind);
    for (const [name, value] of Object.entries(of)) made.setAttribute(name, typeof value === "number" ? value.toFixed(1) : value);
    made.textContent = text;
    svg.append(made);
  };
  const [from, to] = facts.window_hz ?? [low, high];
  add("rect", { class: "window", x: x(from), y: TOP - 6, width: Math.max(1, x(to) - x(from)), height: tall - TOP });
  const step = [100, 200, 500, 1000, 2000, 5000].find((one) => (high - low) / one <= 8) ?? 10000;
  for (let k = Math.ceil((low - pad - dx) / step); dx + k * step <= high + pad; k += 1) add("text", { x: x(dx + k * step), y: 16, "text-anchor": "middle" }, offset(k * step, step < 1000 ? 1 : 0));
  for (const [start] of facts.turns) if (start >= first) add("line", { class: "turn", x1: LEFT, x2: WIDE - RIGHT, y1: y(start), y2: y(start) });
  const standing = marks.filter((one) => one.retracted_at_s === null);
  add("polyline", { class: "trail", points: standing.map((one) => `${x(one.frequency_hz).toFixed(1)},${y(one.start_s).toFixed(1)}`).join(" ") });
  for (const call of facts.calls) {
    if (call.frequency_hz === null || call.start_s < first) continue;
    const [a, b] = [x(call.frequency_hz), y(call.start_s)];
    add("path", { class: "own", d: `M${a - 6},${b - 6} l12,6 l-12,6 z` });
  }
  let free = -Infinity;
  for (const mark of marks) {
    const [a, b] = [x(mark.frequency_hz), y(mark.start_s)];
    const before = made.get(mark.id);
    if (before) {
      add("line", { class: "link", x1: x(before.peak_hz), x2: a, y1: b, y2: b });
      add("line", { class: "hill", x1: x(before.peak_hz), x2: x(before.peak_hz), y1: b - 8, y2: b + 8 });
      if (before.advised_hz !== null) add("path", { class: "advised", d: `M${x(before.advised_hz)},${b - 5} l5,5 l-5,5 l-5,-5 z` });
    }
    if (mark.retracted_at_s !== null) add("path", { class: "back", d: `M${a - 5},${b - 5} l10,10 m0,-10 l-10,10` });
    else if (mark.by === "operator") add("rect", { class: "mark", x: a - 6, y: b - 6, width: 12, height: 12 });
    else add("circle", { class: "mark", cx: a, cy: b, r: 7 });
    if (mark.retracted_at_s === null) add("text", { x: a + 12, y: b + 4 }, mark.call ?? "");
    if (b - free > 15) {
      add("text", { x: LEFT - 10, y: b + 4, "text-anchor": "end", class: "soft" }, clock(mark.start_s));
      free = b;
    }
  }
  if (facts.worked?.frequency_hz) add("text", { x: x(facts.worked.frequency_hz) + 10, y: Math.min(tall - 8, y(facts.worked.time_s)) }, "\u2605 worked");
}

/** @param {Answer} answer */
function showLog({ log, contacts, count }) {
  byId("log-none").textContent = log === null ? "No log is open: start with --store FILE, or name one in the settings, and G on the air writes into it."
    : contacts.length ? "" : `Nothing is in the log ${log} yet.`;
  byId("log-none").hidden = contacts.length > 0;
  put("contacts", contacts.map((one) => {
    const own = one.freq_hz === null ? "" : absolute(one.freq_hz, 2);
    const his = one.freq_rx_hz ?? one.freq_hz;
    const line = row([figure(String(one.number)), one.start, { text: one.call, class: "call" }, one.place, one.band, one.mode, figure(his === null ? "" : absolute(his, 2)),
      figure(own), [one.sent, one.received].filter(Boolean).join(" / "), figure(one.calls_made)]);
    if (one.now) line.className = "now";
    return line;
  }));
  byId("log-more").textContent = log === null ? "" : `${count} in ${log}${count > contacts.length ? `, the newest ${contacts.length} shown` : ""}; \u25B8 of this session. hearmark log export FILE --store ${log} writes them as ADIF.`;
  byId("log-back").textContent = contacts.length ? `To take one out again: hearmark log remove ${contacts[0].number} --store ${log}, with its number in place of ${contacts[0].number}.` : "";
}

async function refresh() {
  const chosen = /** @type {HTMLSelectElement} */ (byId("session")).value;
  try {
    const reply = await fetch(`/after/facts${chosen ? `?session=${encodeURIComponent(chosen)}` : ""}`);
    const answer = await reply.json();
    byId("trouble").textContent = answer.trouble ?? "";
    if (!answer.trouble) show(answer);
  } catch {
    byId("trouble").textContent = "No link to the program: is it running?";
  }
}

byId("session").addEventListener("change", () => void refresh());
byId("again").addEventListener("click", () => void refresh());
void refresh();
