// @ts-check
/** Binary frames from the program, read by the one description that both ends share (frames.json). */

/**
 * @typedef {{kind: string, values: Record<string, number>, body: Uint8Array | Int16Array}} Frame
 * @typedef {{number: number, fields: [string, string][], body: string}} Kind
 * @typedef {{magic: string, version: number, kinds: Record<string, Kind>, events: {version: number, names: string[]}}} Description
 */

/** @type {Record<string, number>} */
const SIZES = { float64: 8, uint32: 4 };

/** @returns {Promise<Description>} */
export async function loadDescription() {
  const answer = await fetch(new URL("./frames.json", import.meta.url));
  return answer.json();
}

/**
 * Reads one binary frame. Throws when it is not one of ours.
 * @param {Description} description
 * @param {ArrayBuffer} buffer
 * @returns {Frame}
 */
export function readFrame(description, buffer) {
  const view = new DataView(buffer);
  const magic = buffer.byteLength < 8 ? "" : String.fromCharCode(...new Uint8Array(buffer, 0, 4));
  if (magic !== description.magic) throw new Error(`not a frame of this program: it begins with "${magic}"`);
  if (view.getUint8(4) !== description.version) {
    throw new Error(`frame version ${view.getUint8(4)}, expected ${description.version}: reload the page`);
  }
  const number = view.getUint8(5);
  const found = Object.entries(description.kinds).find(([, kind]) => kind.number === number);
  if (!found) throw new Error(`frame kind ${number} is not described: reload the page`);
  const [name, kind] = found;
  let at = 8;
  /** @type {Record<string, number>} */
  const values = {};
  for (const [field, type] of kind.fields) {
    values[field] = type === "float64" ? view.getFloat64(at, true) : view.getUint32(at, true);
    at += SIZES[type];
  }
  const rest = buffer.slice(at);
  return { kind: name, values, body: kind.body === "int16" ? new Int16Array(rest) : new Uint8Array(rest) };
}
