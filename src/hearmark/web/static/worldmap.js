// @ts-check
/** A small map: land, the night, both ways round. Equal steps of longitude and latitude; one unit is one degree. */

/** @type {Promise<{rings: number[][]}> | null} */
let coast = null;

/** @param {SVGSVGElement} svg @param {{short: [number, number][], long: [number, number][], sun: [number, number]}} map */
export async function drawMap(svg, map) {
  coast ??= fetch("/static/coast.json").then((reply) => reply.json());
  const { rings } = await coast;
  svg.replaceChildren();
  const land = rings.flatMap((ring) => [0, -360, 360].map((shift) => outline(unwrapped(ring), shift))).join("");
  add(svg, "path", { d: land, class: "land" });
  add(svg, "path", { d: night(map.sun), class: "dark" });
  add(svg, "path", { d: line(map.long), class: "far" });
  add(svg, "path", { d: line(map.short), class: "short" });
  for (const [lat, lon] of [map.short[0], map.short[map.short.length - 1]]) add(svg, "circle", { cx: lon, cy: -lat, r: 2.2, class: "end" });
  add(svg, "circle", { cx: map.sun[1], cy: -map.sun[0], r: 4, class: "sun" });
}

/** A ring that does not jump where it crosses the edge of the map. @param {number[]} ring tenths of a degree @returns {[number, number][]} */
function unwrapped(ring) {
  /** @type {[number, number][]} */
  const out = [];
  let turn = 0, last = ring[0];
  for (let i = 0; i < ring.length; i += 2) {
    if (Math.abs(ring[i] - last) > 1800) turn += ring[i] < last ? 3600 : -3600;
    last = ring[i];
    out.push([(ring[i] + turn) / 10, ring[i + 1] / 10]);
  }
  // a ring round the pole does not close: it goes on to the edge of the map
  if (Math.abs(out[out.length - 1][0] - out[0][0]) > 180) out.push([out[out.length - 1][0], -90], [out[0][0], -90]);
  return out;
}

/** The ring moved sideways; nothing if it then lies off the map. @param {[number, number][]} points @param {number} shift */
function outline(points, shift) {
  if (!points.some(([x]) => Math.abs(x + shift) < 180)) return "";
  return `M${points.map(([x, y]) => `${x + shift},${-y}`).join("L")}Z`;
}

/** A way in pieces where it crosses the edge of the map. @param {[number, number][]} points */
function line(points) {
  let d = "", last = NaN;
  for (const [lat, lon] of points) {
    d += `${Math.abs(lon - last) < 180 ? "L" : "M"}${lon},${-lat}`;
    last = lon;
  }
  return d;
}

/** The half of the world without sun. @param {[number, number]} sun latitude, longitude */
function night([lat, lon]) {
  const tilt = Math.tan((Math.abs(lat) < 0.1 ? 0.1 : lat) * (Math.PI / 180));
  let d = "";
  for (let x = -180; x <= 180; x += 2) {
    const edge = (Math.atan(-Math.cos((x - lon) * (Math.PI / 180)) / tilt) * 180) / Math.PI;
    d += `${d ? "L" : "M"}${x},${(-edge).toFixed(2)}`;
  }
  const pole = lat >= 0 ? 90 : -90;
  return `${d}L180,${pole}L-180,${pole}Z`;
}

/** @param {Element} parent @param {string} name @param {Record<string, string | number>} attributes */
function add(parent, name, attributes) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  parent.append(node);
}
