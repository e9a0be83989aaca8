// @ts-check
/** The page of paths: asks the server for a forecast, shows it as lines, a map, a table and a sentence. */
import { drawMap } from "./worldmap.js";

/**
 * @typedef {{time: string, frequency_mhz: number, snr_db_hz: number, probability: number, probability_low: number, probability_high: number,
 *   probability_both_ways: number, probability_before: number, path: "short" | "long", bearing_deg: number}} Hour
 * @typedef {{rise: string | null, set: string | null, d_region_rise: string | null, d_region_set: string | null, begins: string}} Sun
 * @typedef {{name: string, locator: string, latitude_deg: number, longitude_deg: number}} Place
 * @typedef {{now: string, now_sentence: string, start: string, distance_km: number, bearing_deg: number, back_bearing_deg: number,
 *   long_path: {distance_km: number, bearing_deg: number}, from: Place, to: Place, hours: Hour[], sunspots: number, solar_flux: number,
 *   required_db_hz: number, own: {power_w: number, antenna: string, noise: string}, far: {power_w: number, antenna: string, noise: string},
 *   grey_line: [string, string][], sun: {here: Sun, there: Sun},
 *   learnt: null | {stations: number, sunspots_shift: number, sunspots_sd: number, sunspots_sd_before: number, level_db: number, level_sd_db: number, level_sd_before_db: number},
 *   map: {short: [number, number][], long: [number, number][], sun: [number, number]}}} Facts
 */

const BANDS = ["160 m", "80 m", "60 m", "40 m", "30 m", "20 m", "17 m", "15 m", "12 m", "10 m"];
/** Below it a band is closed, as on the command line. */
const NO_CHANCE = 0.005;
const LEFT = 88, WIDTH = 1000, ROW = 46, TALL = 36, SUN = 18;

const form = /** @type {HTMLFormElement} */ (byId("ask"));
form.addEventListener("submit", (event) => {
  event.preventDefault();
  const query = asked();
  history.replaceState(null, "", `/path?${query}`);
  void show(query);
});
const given = new URLSearchParams(location.search);
for (const [name, value] of given) {
  const field = form.elements.namedItem(name);
  if (field instanceof HTMLInputElement && field.type === "checkbox") field.checked = value !== "";
  else if (field instanceof HTMLInputElement || field instanceof HTMLSelectElement) field.value = value;
}
if (given.get("to")) void show(asked());
else /** @type {HTMLInputElement} */ (form.elements.namedItem("to")).focus();

/** The query of what stands in the form; empty fields are left to the server. */
function asked() {
  const query = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value) query.set(name, String(value));
  return query;
}

/** @param {URLSearchParams} query */
async function show(query) {
  byId("trouble").textContent = "";
  try {
    const reply = await fetch(`/path/forecast?${query}`);
    const facts = await reply.json();
    if (!reply.ok) throw new Error(facts.trouble);
    await draw(/** @type {Facts} */ (facts));
    byId("answer").hidden = false;
    document.body.dataset.shown = facts.now;
  } catch (error) {
    byId("answer").hidden = true;
    byId("trouble").textContent = error instanceof TypeError ? "The program does not answer; is it running?" : String(error instanceof Error ? error.message : error);
  }
}

/** @param {Facts} facts */
async function draw(facts) {
  const far = facts.long_path;
  byId("now").textContent = facts.now_sentence;
  byId("way").textContent =
    `${title(facts.from)} to ${title(facts.to)}: ${facts.distance_km.toFixed(0)} km, point to ${facts.bearing_deg.toFixed(0)}°, he points to ${facts.back_bearing_deg.toFixed(0)}°. ` +
    `Long path ${far.distance_km.toFixed(0)} km, ${far.bearing_deg.toFixed(0)}°. ` +
    (facts.grey_line.length ? `Both in twilight ${facts.grey_line.map(([a, b]) => `${clock(a)} to ${clock(b)}`).join(", ")} UTC.` : "The ends are not in twilight together.");
  byId("learnt").textContent = learntText(facts);
  byId("taken").textContent =
    `Taken: ${facts.own.power_w} W, ${facts.own.antenna}; there ${facts.far.power_w} W, ${facts.far.antenna}, ${facts.far.noise} noise; ${facts.required_db_hz} dB-Hz needed; ` +
    `smoothed sunspot number ${facts.sunspots.toFixed(0)}, flux ${facts.solar_flux.toFixed(0)}. Signals differ from such figures by some 10 dB.`;
  drawHours(facts);
  drawTable(facts);
  await drawMap(/** @type {SVGSVGElement} */ (/** @type {unknown} */ (byId("map"))), facts.map);
}

/** @param {Facts} facts */
function learntText(facts) {
  const l = facts.learnt;
  if (!l) return "";
  if (l.stations === 0) return "Nothing was heard yet that could correct this.";
  return (
    `Corrected by ${l.stations} measurement${l.stations === 1 ? "" : "s"}: sunspot number ${signed(l.sunspots_shift)} (before 0 ± ${l.sunspots_sd_before.toFixed(0)}, now ± ${l.sunspots_sd.toFixed(0)}), ` +
    `levels ${signed(l.level_db)} dB (before 0 ± ${l.level_sd_before_db.toFixed(0)}, now ± ${l.level_sd_db.toFixed(0)}).`
  );
}

/** @param {Facts} facts */
function drawHours(facts) {
  const svg = byId("hours");
  const count = BANDS.length;
  const start = Date.parse(facts.start), last = facts.hours.length / count - 1;
  const x = (/** @type {number} */ t) => LEFT + ((t - start) / 3.6e6 / last) * WIDTH;
  const height = ROW * count + 3 * SUN + 40;
  svg.setAttribute("viewBox", `0 0 ${LEFT + WIDTH + 20} ${height}`);
  svg.replaceChildren();
  add(svg, "title", { id: "hours-title" }).textContent = `Chance by band over 24 hours from ${clock(facts.start)} UTC. ${facts.now_sentence}`;
  const hatch = add(add(svg, "defs", {}), "pattern", { id: "hatch", width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  add(hatch, "line", { x1: 0, y1: 0, x2: 0, y2: 6, class: "hatch" });
  BANDS.forEach((name, band) => {
    const foot = ROW * (band + 1) - 2;
    const hours = facts.hours.filter((_, i) => i % count === band);
    const at = (/** @type {Hour} */ h, /** @type {number} */ p) => `${x(Date.parse(h.time)).toFixed(1)},${(foot - TALL * p).toFixed(1)}`;
    add(svg, "line", { x1: LEFT, x2: LEFT + WIDTH, y1: foot, y2: foot, class: "foot" });
    add(svg, "line", { x1: LEFT, x2: LEFT + WIDTH, y1: foot - TALL / 2, y2: foot - TALL / 2, class: "half", "stroke-dasharray": "2 6" });
    add(svg, "text", { x: LEFT - 10, y: foot - TALL / 2 + 5, "text-anchor": "end" }).textContent = name;
    const upper = hours.map((h) => at(h, h.probability_high)), lower = hours.map((h) => at(h, h.probability_low));
    add(svg, "polygon", { points: [...upper, ...lower.reverse()].join(" "), class: "shade" });
    if (facts.learnt) add(svg, "polyline", { points: hours.map((h) => at(h, h.probability_before)).join(" "), class: "before" });
    add(svg, "polyline", { points: hours.map((h) => at(h, h.probability)).join(" "), class: "chance" });
    for (const run of runs(hours)) add(svg, "polyline", { points: run.map((h) => at(h, h.probability)).join(" "), class: "long" });
  });
  const below = ROW * count + 8;
  [facts.sun.here, facts.sun.there].forEach((sun, i) => drawSun(svg, sun, start, last, x, below + i * (SUN + 4), i ? "sun there" : "sun here"));
  for (let h = 0; h <= last; h += 3) {
    add(svg, "text", { x: x(start + h * 3.6e6), y: below + 2 * SUN + 26, "text-anchor": "middle", class: "soft" }).textContent = clock(new Date(start + h * 3.6e6).toISOString());
  }
  const now = x(Date.parse(facts.now));
  add(svg, "line", { x1: now, x2: now, y1: 4, y2: below + 2 * SUN + 6, class: "now" });
  add(svg, "text", { x: now + 4, y: 14 }).textContent = "now";
}

/** Stretches in which the long path is the better one and worth drawing. @param {Hour[]} hours */
function runs(hours) {
  /** @type {Hour[][]} */
  const out = [];
  hours.forEach((h, i) => {
    if (h.path !== "long" || h.probability < 0.02) return;
    if (i > 0 && out.length && out[out.length - 1].includes(hours[i - 1])) out[out.length - 1].push(h);
    else out.push([h]);
  });
  return out.filter((run) => run.length > 1);
}

/**
 * @param {Element} svg @param {Sun} sun @param {number} start @param {number} last @param {(t: number) => number} x @param {number} top @param {string} name
 */
function drawSun(svg, sun, start, last, x, top, name) {
  add(svg, "text", { x: LEFT - 10, y: top + SUN - 5, "text-anchor": "end", class: "soft" }).textContent = name;
  const stop = start + last * 3.6e6;
  /** @type {[string | null, string, string][]} */
  const events = [[sun.d_region_rise, "night", "twilight"], [sun.rise, "twilight", "day"], [sun.set, "day", "twilight"], [sun.d_region_set, "twilight", "night"]];
  const known = events.filter(([t]) => t !== null && Date.parse(t) < stop).sort((a, b) => Date.parse(String(a[0])) - Date.parse(String(b[0])));
  let from = start;
  for (const [t, before] of known) {
    bar(svg, x(from), x(Date.parse(String(t))), top, before);
    from = Date.parse(String(t));
  }
  bar(svg, x(from), x(stop), top, known.length ? known[known.length - 1][2] : sun.begins);
}

/** @param {Element} svg @param {number} a @param {number} b @param {number} top @param {string} kind */
function bar(svg, a, b, top, kind) {
  add(svg, "rect", { x: a, y: top, width: Math.max(b - a, 0), height: SUN, class: kind });
}

/** @param {Facts} facts */
function drawTable(facts) {
  const body = /** @type {HTMLTableSectionElement} */ (document.querySelector("#best tbody"));
  body.replaceChildren();
  BANDS.forEach((name, band) => {
    const best = facts.hours.filter((_, i) => i % BANDS.length === band).reduce((a, b) => (b.probability > a.probability ? b : a));
    const row = body.insertRow();
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = name;
    row.append(head);
    if (best.probability < NO_CHANCE) {
      row.insertCell().textContent = "closed";
      row.insertCell().colSpan = 5;
      return;
    }
    const percent = (/** @type {number} */ p) => `${(100 * p).toFixed(0)} %`;
    for (const text of [clock(best.time), `${percent(best.probability)} (${percent(best.probability_low)} to ${percent(best.probability_high)})`,
      percent(best.probability_both_ways), best.snr_db_hz < 0 ? "below 0" : best.snr_db_hz.toFixed(0), best.path, `${best.bearing_deg.toFixed(0)}°`]) row.insertCell().textContent = text;
  });
}

/** @param {Element} parent @param {string} name @param {Record<string, string | number>} attributes */
function add(parent, name, attributes) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  parent.append(node);
  return node;
}

/** @param {Place} place */
function title(place) {
  return place.name || place.locator;
}

/** @param {string} utc */
function clock(utc) {
  return utc.slice(11, 16);
}

/** @param {number} value */
function signed(value) {
  return `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(0)}`;
}

/** @param {string} id @returns {HTMLElement} */
function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element ${id}`);
  return found;
}
