// @ts-check
/** The view Set-up: fills the form, asks for a check of each part, saves. All of it goes by keyboard. */

/**
 * @typedef {{parts: Record<string, string[]>, values: Record<string, string | number | boolean>, meanings: Record<string, string>,
 *   licences: {name: string, title: string}[], cards: string[], cards_trouble: string, recordings: string[], folder: string, file: string, begun: boolean, hears?: boolean}} Form
 * @typedef {{part?: string, ok?: boolean | null, say?: string, found?: string[], trouble?: string}} Told
 */

const form = /** @type {HTMLFormElement} */ (byId("station"));
/** @type {Form | null} */
let known = null;

/** @param {string} id */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/** @param {string} name */
function field(name) {
  return /** @type {HTMLInputElement | HTMLSelectElement} */ (form.elements.namedItem(name));
}

/** @param {HTMLSelectElement} list @param {[string, string][]} options */
function offer(list, options) {
  for (const [value, text] of options) {
    if ([...list.options].some((one) => one.value === value)) continue;
    list.add(new Option(text, value));
  }
}

/** @param {Form} given */
function fill(given) {
  known = given;
  offer(/** @type {HTMLSelectElement} */ (field("station.licence")), given.licences.map((one) => [one.name, one.title]));
  offer(/** @type {HTMLSelectElement} */ (field("receiver.device")), given.cards.map((name) => [name, name]));
  offer(/** @type {HTMLSelectElement} */ (field("receiver.file")), given.recordings.map((name) => [name, name]));
  for (const [name, value] of Object.entries(given.values)) {
    const box = field(name);
    if (box instanceof HTMLInputElement && box.type === "checkbox") {
      box.checked = value === true;
      continue;
    }
    const text = String(value);
    // What stands in the file and is not on offer here must not be lost
    if (box instanceof HTMLSelectElement && text) offer(box, [[text, text]]);
    box.value = name === "receiver.center_khz" && value === 0 ? "" : text;
  }
  byId("saved").textContent = given.begun ? `From ${given.file}` : `Nothing saved yet; it will be in ${given.file}`;
  byId("hear").hidden = !given.hears;
  showKind();
}

/** Only what the chosen kind of receiver needs. */
function showKind() {
  const kind = field("receiver.kind").value;
  for (const label of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-for]"))) {
    label.hidden = !(label.dataset.for ?? "").split(" ").includes(kind);
  }
  const note = { card: known?.cards_trouble ?? "", recording: known && !known.recordings.length ? `No recording (.sigmf-meta or .wav) lies in ${known.folder}.` : `From ${known?.folder ?? ""}.`,
    tcp: "A server that sends I/Q as soon as one connects.", demo: "" };
  byId("receiver-note").textContent = note[/** @type {keyof typeof note} */ (kind)] ?? "";
}

/** What stands in the form. */
function values() {
  /** @type {Record<string, string | boolean>} */
  const found = {};
  for (const name of Object.keys(known?.values ?? {})) {
    const box = field(name);
    found[name] = box instanceof HTMLInputElement && box.type === "checkbox" ? box.checked : box.value;
  }
  if (found["receiver.center_khz"] === "") found["receiver.center_khz"] = "0";
  return found;
}

/** @param {string} path @param {Record<string, unknown>} body @returns {Promise<Told>} */
async function post(path, body) {
  try {
    const reply = await fetch(path, { method: "POST", body: JSON.stringify(body) });
    return await reply.json();
  } catch {
    return { trouble: "No link to the program: is it running?" };
  }
}

/** @param {HTMLFieldSetElement} set @param {Told} told */
function tell(set, told) {
  const line = /** @type {HTMLElement} */ (set.querySelector(".found"));
  const ok = told.trouble ? false : told.ok ?? null;
  line.dataset.ok = String(ok);
  line.textContent = told.trouble ?? told.say ?? "";
}

/** @param {HTMLFieldSetElement} set */
async function check(set) {
  const line = /** @type {HTMLElement} */ (set.querySelector(".found"));
  const part = set.dataset.part ?? "";
  delete line.dataset.ok;
  line.textContent = part === "receiver" ? "listening for a few seconds …" : part === "radio" ? "trying …" : "…";
  set.setAttribute("aria-busy", "true");
  const told = await post("/setup/check", { part, values: values() });
  set.removeAttribute("aria-busy");
  tell(set, told);
}

async function save() {
  byId("trouble").textContent = "";
  const told = await post("/setup/save", { values: values() });
  byId("trouble").textContent = told.trouble ?? "";
  byId("saved").textContent = told.trouble ? "Not saved." : told.say ?? "";
}

/** The receiver of the form from now on, in place of what is heard. */
async function hear() {
  const [line, button] = [byId("hear-told"), /** @type {HTMLButtonElement} */ (byId("hear-now"))];
  if (button.disabled) return;
  delete line.dataset.ok;
  line.textContent = "beginning; what was heard goes on until samples come …";
  button.disabled = true;
  const text = (/** @type {string} */ id) => /** @type {HTMLInputElement | HTMLSelectElement} */ (byId(id)).value;
  const told = await post("/setup/hear", { values: values(), dx_khz: text("hear-dx"), mode: text("hear-mode"), says: text("hear-says") });
  button.disabled = false;
  line.dataset.ok = String(!told.trouble);
  line.textContent = told.trouble ?? told.say ?? "";
  if (told.trouble) return;
  const there = document.createElement("a");
  [there.href, there.target, there.textContent] = ["/", "hearmark-air", "On the air"];
  line.append(" ", there);
}

function build() {
  for (const set of /** @type {NodeListOf<HTMLFieldSetElement>} */ (form.querySelectorAll("fieldset"))) {
    const name = set.querySelector("legend")?.textContent?.toLowerCase() ?? "";
    const button = document.createElement("button");
    button.type = "button";
    button.className = "check";
    button.textContent = "Check";
    button.setAttribute("aria-label", `Check ${name}`);
    button.addEventListener("click", () => void check(set));
    const line = document.createElement("p");
    line.className = "found";
    line.setAttribute("role", "status");
    set.append(button, line);
    // What was found is about what stood there then
    set.addEventListener("input", () => {
      delete line.dataset.ok;
      line.textContent = "";
    });
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void save();
  });
  field("receiver.kind").addEventListener("change", showKind);
  byId("hear-now").addEventListener("click", () => void hear());
  byId("hear").addEventListener("keydown", (event) => {
    // Enter in these boxes begins to hear; it saves nothing
    if (event.key !== "Enter" || !(event.target instanceof HTMLInputElement)) return;
    event.preventDefault();
    void hear();
  });
  byId("all").addEventListener("click", async () => {
    for (const set of /** @type {NodeListOf<HTMLFieldSetElement>} */ (form.querySelectorAll("fieldset"))) await check(set);
  });
  byId("find").addEventListener("click", async () => {
    const set = /** @type {HTMLFieldSetElement} */ (byId("find").closest("fieldset"));
    const told = await post("/setup/find", {});
    if (told.found?.length) field("radio.address").value = told.found[0];
    tell(set, { ...told, ok: told.found?.length ? true : null });
  });
}

async function begin() {
  build();
  try {
    const reply = await fetch("/setup/form");
    fill(await reply.json());
    field("station.call").focus();
    document.body.dataset.ready = "true";
  } catch {
    byId("trouble").textContent = "No link to the program: is it running?";
  }
}

void begin();
