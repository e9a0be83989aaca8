// @ts-check
/** Starts the page: one model, the link that feeds it, the layers that show it. */
import { Controls } from "./controls.js";
import { showCue } from "./cue.js";
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
showCue(model);
const alarm = showRadio(model);
const link = new Link(model, await loadDescription(), (frame) => sound.play(frame));
const controls = new Controls(model, link, sound, field);
link.open();

// For looking inside from the browser's console, and for the tests.
Object.assign(globalThis, { hearmark: { model, sound, field, link, controls, alarm } });
