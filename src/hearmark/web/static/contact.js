// @ts-check
/** The contact into the log: one key when all is known, a small sheet to look at it first. Who the DX is, above. */

/** @typedef {import("./model.js").Model} Model */

export class Contact {
  /** @param {Model} model @param {import("./link.js").Link} link */
  constructor(model, link) {
    this.model = model;
    this.link = link;
    this.dialog = /** @type {HTMLDialogElement} */ (document.getElementById("contact"));
    element("contact-form").addEventListener("submit", (event) => this.submit(event));
    element("contact-name").addEventListener("click", () => this.name());
    element("contact-close").addEventListener("click", () => this.dialog.close());
  }

  /** @returns {import("./model.js").Station | null} */
  station() {
    return this.model.status?.station ?? null;
  }

  ready() {
    return this.station() !== null;
  }

  /** @param {boolean} look */
  log(look) {
    const station = this.station();
    if (!station) return;
    if (look || !station.call) this.open(station);
    else this.link.ask({ verb: "log" });
  }

  /** @param {import("./model.js").Station} station */
  open(station) {
    input("contact-call").value = station.call;
    input("contact-sent").value = station.report;
    input("contact-received").value = station.report;
    input("contact-notes").value = "";
    element("contact-known").textContent = told(station);
    element("contact-slots").replaceChildren(...slotRows(station));
    this.dialog.show();
    const first = input(station.call ? "contact-sent" : "contact-call");
    first.focus();
    first.select();
  }

  /** @param {Event} event */
  submit(event) {
    event.preventDefault();
    this.dialog.close();
    this.link.ask({
      verb: "log", again: true, call: input("contact-call").value, sent: input("contact-sent").value,
      received: input("contact-received").value, notes: input("contact-notes").value,
    });
  }

  name() {
    this.dialog.close();
    this.link.ask({ verb: "name", call: input("contact-call").value });
  }

  /** Who he is and what he would bring, so that a duplicate is seen before the first call. */
  show() {
    const who = element("dx-who");
    const station = this.station();
    const button = document.querySelector('button[data-key="g"]');
    if (button instanceof HTMLElement) button.hidden = !station;
    const key = station ? JSON.stringify(station) : "";
    if (who.dataset.key === key) return;
    who.dataset.key = key;
    who.dataset.level = station?.level ?? "done";
    who.dataset.duplicate = String(Boolean(station?.duplicate || station?.logged));
    who.replaceChildren();
    if (!station) return;
    const call = document.createElement("b");
    call.textContent = station.call || "call not known yet";
    who.append(call, ` ${told(station)}`);
    who.title = told(station);
  }
}

/** @param {import("./model.js").Station} station */
function told(station) {
  if (!station.call) return "";
  if (station.logged) return `in the log since ${station.logged} UTC`;
  const before = station.duplicate ? "worked before on this band in this kind of mode" : "";
  const other = !station.duplicate && station.worked ? "worked before elsewhere" : "";
  const what = before || station.needs;
  return [what.startsWith(station.name) ? "" : station.name, what, other].filter(Boolean).join(" \u00b7 ");
}

const GROUPS = [["cw", "Morse"], ["phone", "phone"], ["digital", "digital"]];

/**
 * What of his entity is worked, band by band: the letter says it, no hue needed.
 * @param {import("./model.js").Station} station
 */
function slotRows(station) {
  if (!station.slots.length) return [];
  const head = ["", ...GROUPS.map(([, name]) => name)];
  const rows = station.slots.map((slot) => [slot.band, ...GROUPS.map(([group]) => slot[group] ?? "\u00b7")]);
  return [head, ...rows].map((cells, number) => {
    const row = document.createElement("tr");
    for (const text of cells) {
      const cell = document.createElement(number && text !== cells[0] ? "td" : "th");
      cell.textContent = text;
      row.append(cell);
    }
    return row;
  });
}

/** @param {string} id */
function element(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {string} id */
function input(id) {
  return /** @type {HTMLInputElement} */ (document.getElementById(id));
}
