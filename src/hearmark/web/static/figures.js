// @ts-check
/** Frequencies and times as people read them. */

/**
 * 18150900 -> "18 150.9": kilohertz with a narrow gap at the thousands.
 * @param {number} hz
 * @param {number} [digits]
 */
export function absolute(hz, digits = 1) {
  const [whole, part] = (hz / 1000).toFixed(digits).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u2009");
  return part ? `${grouped}.${part}` : grouped;
}

/**
 * 7400 -> "+7.4": kilohertz away from the DX, always with its sign.
 * @param {number} hz
 * @param {number} [digits]
 */
export function offset(hz, digits = 1) {
  const text = (Math.abs(hz) / 1000).toFixed(digits);
  return `${hz < 0 ? "\u2212" : "+"}${text}`;
}

/** @param {number} seconds */
export function age(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 60) return `${whole} s`;
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/**
 * 0.31 -> "31 in 100".
 * @param {number} probability
 */
export function chance(probability) {
  const percent = probability * 100;
  return percent > 0 && percent < 1 ? "under 1 %" : `${Math.round(percent)} %`;
}
