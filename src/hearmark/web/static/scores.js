// @ts-check
/** The score sheet when a lesson is over: the learner's time beside that of the two others, and the faults counted. */
import { byId, minutes, setText } from "./lesson.js";

/** @typedef {import("./lesson.js").LessonModel} LessonModel */

/** @type {Record<string, string>} */
const FAULTS = {
  "on his frequency": "called on his frequency", "split off": "split was off", "over the answered": "called over the answered station",
  "over him": "sent while he was sending", "dial moved": "receive dial moved", late: "late", "outside the window": "called outside the window",
  "did not listen": "sent without having listened", "no report": "gave no report when answered", "unasked report": "gave a report unasked",
  "asked to wait": "called although he had asked to wait", "sent at all": "sent, where only listening was asked for",
};

/** @param {LessonModel} model */
export function showScores(model) {
  let last = "";
  model.subscribe(() => {
    const sheet = model.lesson?.sheet;
    const key = JSON.stringify(sheet ?? null);
    if (!sheet || key === last) return;
    last = key;
    const contact = sheet.goal === "contact";
    const took = contact ? sheet.contact_s : sheet.reached ? sheet.ended_s : null;
    setText("sheet-word", sheet.reached ? (contact ? `Contact after ${minutes(took)}` : `Three found in ${minutes(took)}`) : contact ? "No contact this time" : `Found ${sheet.marks.found} of 3`);
    const rows = contact ? [["You", took, true], ["The perfect tail-ender", sheet.others.tail_ender_s, false], ["The program", sheet.others.program_s, false]] : [["You", took, true]];
    const most = Math.max(1, ...rows.map(([, value]) => (typeof value === "number" ? value : 0)));
    const body = /** @type {HTMLElement} */ (document.querySelector("#sheet-times tbody"));
    body.replaceChildren(...rows.map(([name, value, yours]) => row(String(name), value, Boolean(yours), most)));
    setText("sheet-caption", contact ? "Time to the contact" : "Time");
    setText("sheet-facts", facts(sheet));
    const counted = Object.entries(sheet.counts);
    byId("sheet-faults").replaceChildren(...(counted.length ? counted.map(([kind, count]) => item(`${count} × ${FAULTS[kind] ?? kind}`)) : [item("No faults.")]));
  });
}

/** @param {any} sheet */
function facts(sheet) {
  const parts = [`Pile-up number ${sheet.seed}, ${sheet.mode.toUpperCase()}`, `${sheet.calls} ${sheet.calls === 1 ? "call" : "calls"}`];
  if (sheet.marks.made) parts.push(`${sheet.marks.right} of ${sheet.marks.made} marks right`);
  if (sheet.logged) parts.push(sheet.logged.right ? `in the practice log: ${sheet.logged.call}, copied right` : `in the practice log: ${sheet.logged.call}, but he was ${sheet.dx.call}`);
  return `${parts.join(" · ")}.`;
}

/** @param {string} name @param {number | string | null} value @param {boolean} yours @param {number} most */
function row(name, value, yours, most) {
  const line = document.createElement("tr");
  if (yours) line.className = "yours";
  const head = document.createElement("th");
  head.scope = "row";
  head.textContent = name;
  const time = document.createElement("td");
  time.textContent = value === "pending" ? "being played …" : typeof value === "number" ? minutes(value) : "not reached";
  const wide = document.createElement("td");
  wide.className = "wide";
  const bar = document.createElement("span");
  bar.className = "bar";
  if (typeof value === "number") {
    bar.style.width = `${Math.max(2, Math.round((300 * value) / most))}px`;
    wide.append(bar);
  }
  line.append(head, time, wide);
  return line;
}

/** @param {string} text */
function item(text) {
  const line = document.createElement("li");
  line.textContent = text;
  return line;
}
