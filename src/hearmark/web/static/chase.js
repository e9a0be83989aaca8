// @ts-check
/** The page of whom to chase: asks for the ranked list every few seconds, takes pasted spots. */

/**
 * @typedef {{call: string, frequency_hz: number, mode: string, entity_name: string | null, score: number, duplicate: boolean,
 *   probably: string | null, why: string[]}} Row
 * @typedef {{trouble?: string, spots: number, rows: Row[], log: boolean, paths: boolean,
 *   node: null | {state: string, spots: number, dropped_spots: number, trouble: string}}} Answer
 */

const EVERY_MS = 10_000;
const TODAY_MS = 600_000;

/** @param {string} id */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

async function refresh() {
  try {
    const reply = await fetch("/chase/list");
    show(await reply.json());
  } catch {
    byId("state").textContent = "No link to the program; trying again.";
  }
}

/** @param {Answer} answer */
function show(answer) {
  if (answer.trouble) {
    byId("state").textContent = answer.trouble;
    return;
  }
  const said = [`${answer.spots} spots of the last two hours`];
  if (answer.node) said.push(`node ${answer.node.state}${answer.node.trouble ? `: ${answer.node.trouble}` : ""}`);
  if (answer.node?.dropped_spots) said.push(`${answer.node.dropped_spots} dropped`);
  if (!answer.log) said.push("no log is open, so everything is needed");
  if (!answer.paths) said.push("paths are not computed: give your locator in Set-up, or under [station] in the settings file");
  byId("state").textContent = said.join(" \u00b7 ");
  const body = /** @type {HTMLElement} */ (document.querySelector("#rows tbody"));
  body.replaceChildren(...answer.rows.map(rowOf));
}

/**
 * @typedef {{call: string, entity_name: string | null, band: string, mode: string, level: string, best_utc_hour: number | null,
 *   probability: number | null, hours: (number | null)[], score: number, notes: string | null}} Chance
 */

/** @type {Record<string, string>} */
const KINDS = { cw: "Morse", phone: "phone", digital: "digital" };
/** @type {Record<string, string>} */
const NEEDS = {
  new: "never worked", band: "not on this band", mode: "not in this kind of mode", slot: "not in this kind of mode on this band",
  unconfirmed: "worked, not confirmed", done: "worked and confirmed",
};

async function refreshToday() {
  try {
    const answer = await (await fetch("/chase/today")).json();
    const none = byId("today-none");
    none.hidden = !answer.trouble && answer.chances.length > 0;
    none.textContent = answer.trouble ?? (answer.announced ? "None of the announced operations is on."
      : "Nothing is announced here: name a list of operations as watch under [log] in the settings (call, since, until, bands).");
    byId("today").hidden = !none.hidden;
    if (!answer.trouble) /** @type {HTMLElement} */ (document.querySelector("#today tbody")).replaceChildren(...answer.chances.map(chanceOf));
  } catch {
    byId("today-none").textContent = "No link to the program; trying again.";
  }
}

/** @param {Chance} chance */
function chanceOf(chance) {
  const line = document.createElement("tr");
  const best = chance.probability === null || chance.best_utc_hour === null ? "no path known"
    : chance.probability < 0.005 ? "closed" : `${String(chance.best_utc_hour).padStart(2, "0")} h, ${Math.round(100 * chance.probability)} %`;
  const cells = [(100 * chance.score).toFixed(1), pathOf(chance.call), chance.band, KINDS[chance.mode] ?? chance.mode, chance.entity_name ?? "?",
    best, hoursOf(chance.hours), [NEEDS[chance.level] ?? chance.level, chance.notes].filter(Boolean).join("; ")];
  for (const content of cells) {
    const cell = document.createElement("td");
    cell.append(content);
    line.append(cell);
  }
  return line;
}

/** A bar an hour, none to sure; the words beside it say the best. @param {(number | null)[]} hours */
function hoursOf(hours) {
  const make = (/** @type {string} */ kind, /** @type {Record<string, number | string>} */ of) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", kind);
    for (const [name, value] of Object.entries(of)) made.setAttribute(name, String(value));
    return made;
  };
  const picture = make("svg", { viewBox: "0 0 216 26", "aria-hidden": "true" });
  hours.forEach((chance, hour) => {
    const tall = Math.round(24 * (chance ?? 0));
    picture.append(make("rect", { x: hour * 9, y: 25 - tall, width: 7, height: tall }));
  });
  picture.append(make("line", { x1: 0, x2: 216, y1: 25.5, y2: 25.5 }));
  return picture;
}

/** @param {string} call */
function pathOf(call) {
  const path = document.createElement("a");
  path.href = `/path?to=${encodeURIComponent(call)}`;
  path.target = "hearmark-path";
  path.textContent = call;
  return path;
}

/** @param {Row} row */
function rowOf(row) {
  const line = document.createElement("tr");
  line.dataset.doubted = String(row.probably !== null);
  line.dataset.duplicate = String(row.duplicate);
  const cells = [
    (100 * row.score).toFixed(1), pathOf(row.call), (row.frequency_hz / 1000).toFixed(1), row.mode.toUpperCase(),
    row.entity_name ?? "?", row.why.join("; "),
  ];
  for (const text of cells) {
    const cell = document.createElement("td");
    cell.append(text);
    line.append(cell);
  }
  return line;
}

byId("paste").addEventListener("submit", async (event) => {
  event.preventDefault();
  const box = /** @type {HTMLTextAreaElement} */ (byId("lines"));
  const reply = await fetch("/chase/paste", { method: "POST", body: box.value });
  const answer = await reply.json();
  if (answer.trouble) {
    byId("state").textContent = answer.trouble;
    return;
  }
  const lines = box.value.split("\n");
  // What could not be read stays, to be mended
  box.value = answer.lines_not_read.map((/** @type {number} */ n) => lines[n - 1]).join("\n");
  await refresh();
});

void refresh();
setInterval(() => void refresh(), EVERY_MS);
void refreshToday();
setInterval(() => void refreshToday(), TODAY_MS);
