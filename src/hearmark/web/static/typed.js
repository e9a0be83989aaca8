// @ts-check
/** A frequency by its figures: what was typed, and the box for it. It stands in place of our own figures; nothing moves. */

/**
 * "+5.8" and "-2" are kilohertz from the DX, "18149.3" is absolute, "149.3" has his thousands. Nothing for anything else.
 * @param {string} text @param {number} dxHz @returns {number | null}
 */
export function frequency(text, dxHz) {
  const plain = text.trim().replace(/\s/g, "").replace(",", ".").replace("\u2212", "-");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain)) return null;
  const khz = Number(plain);
  if (/^[+-]/.test(plain)) return Math.round(dxHz + khz * 1000);
  if (khz < 1000 && dxHz >= 1e6) return Math.round(Math.floor(dxHz / 1e6) * 1e6 + khz * 1000);
  return Math.round(khz * 1000);
}

export class Typed {
  /** @param {import("./model.js").Model} model @param {(why: string) => void} refuse */
  constructor(model, refuse) {
    this.model = model;
    this.form = /** @type {HTMLFormElement} */ (document.getElementById("typed"));
    this.box = /** @type {HTMLInputElement} */ (document.getElementById("typed-khz"));
    /** @type {(hz: number) => boolean | void} Given false the figure stays, to be mended or sent once more. */
    this.take = () => {};
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      const hz = frequency(this.box.value, model.dxHz);
      if (hz === null) refuse(`\u201c${this.box.value}\u201d is no frequency: write +5.8, or 18149.3.`);
      else if (this.take(hz) === false) {
        this.box.select();
        return;
      }
      this.close();
    });
    this.box.addEventListener("keydown", (event) => event.key === "Escape" && this.giveUp());
    this.box.addEventListener("blur", () => this.giveUp());
  }

  /** @param {string} what @param {(hz: number) => boolean | void} take */
  open(what, take) {
    this.take = take;
    this.box.value = "";
    /** @type {HTMLElement} */ (document.getElementById("typed-what")).textContent = what;
    this.form.classList.add("shown");
    this.box.focus();
  }

  /** With the box what was said of its Enter goes: on the page Enter goes where advised. */
  giveUp() {
    if (!this.form.classList.contains("shown")) return;
    this.close();
    const notice = document.getElementById("notice");
    if (/Enter once more/.test(notice?.textContent ?? "")) notice?.classList.remove("shown");
  }

  close() {
    if (!this.form.classList.contains("shown")) return;
    this.form.classList.remove("shown");
    this.box.blur();
  }
}
