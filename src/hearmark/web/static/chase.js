// @ts-check
/** The page of whom to chase: asks for the ranked list every few seconds, takes pasted spots. */

/**
 * @typedef {{call: string, frequency_hz: number, mode: string, entity_name: string | null, score: number, duplicate: boolean,
 *   probably: string | null, why: string[]}} Row
 * @typedef {{trouble?: string, spots: number, rows: Row[], log: boolean, paths: boolean,
 *   node: null | {state: string, spots: number, dropped_spots: number, trouble: string}}} Answer
 */

const EVERY_MS = 10_000;

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
  if (!answer.paths) said.push("paths are not computed: set locator under [station] in the settings");
  byId("state").textContent = said.join(" \u00b7 ");
  const body = /** @type {HTMLElement} */ (document.querySelector("#rows tbody"));
  body.replaceChildren(...answer.rows.map(rowOf));
}

/** @param {Row} row */
function rowOf(row) {
  const line = document.createElement("tr");
  line.dataset.doubted = String(row.probably !== null);
  line.dataset.duplicate = String(row.duplicate);
  const path = document.createElement("a");
  path.href = `/path?to=${encodeURIComponent(row.call)}`;
  path.target = "hearmark-path";
  path.textContent = row.call;
  const cells = [
    (100 * row.score).toFixed(1), path, (row.frequency_hz / 1000).toFixed(1), row.mode.toUpperCase(),
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
