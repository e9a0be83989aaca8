// @ts-check
/** Colours for the canvas, taken from the style sheet, so that light and dark are decided in one place. */

/** @typedef {{paper: string, ink: string, soft: string, line: string, panel: string, ear: string, mark: string, own: string, picture: [number, number, number]}} Palette */

/** @returns {Palette} */
export function readPalette() {
  const style = getComputedStyle(document.documentElement);
  const get = (/** @type {string} */ name) => style.getPropertyValue(`--${name}`).trim();
  const [r, g, b] = get("picture").split(" ").map(Number);
  return {
    paper: get("paper"), ink: get("ink"), soft: get("soft"), line: get("line"), panel: get("panel"),
    ear: get("ear"), mark: get("mark"), own: get("own"), picture: [r, g, b],
  };
}
