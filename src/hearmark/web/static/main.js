// @ts-check
/** Starts the page: one model, the link that feeds it, the layers that show it. */
import { Controls } from "./controls.js";
import { showCue } from "./cue.js";
import { CueSound } from "./cuesound.js";
import { Field } from "./field.js";
import { loadDescription } from "./frames.js";
import { Link } from "./link.js";
import { Model } from "./model.js";
import { showRadio } from "./radio.js";
import { Sound } from "./sound.js";

// Links of the other views lead back to this tab.
window.name = "hearmark-air";
const model = new Model();
const sound = new Sound();
const field = new Field(/** @type {HTMLCanvasElement} */ (document.getElementById("canvas")), model);
const cues = new CueSound();
showCue(model, (cue) => cues.tell(cue));
const alarm = showRadio(model);
const link = new Link(model, await loadDescription(), (frame) => sound.play(frame));
const controls = new Controls(model, link, sound, field, cues);
link.open();

// For looking inside from the browser's console, and for the tests.
Object.assign(globalThis, { hearmark: { model, sound, cues, field, link, controls, alarm } });
