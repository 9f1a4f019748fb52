// What a person sets once on a device, and what is seldom needed at work: behind "More".

import { MODES, mode, setMode } from "./attention.js";
import { el, fill } from "./dom.js";
import { icon } from "./icons.js";
import { want, wanted } from "./readback.js";
import { THEMES, setTheme, theme } from "./theme.js";

const choose = (label, id, words, now, then) => {
  const field = el("select", { id, onchange: () => then(field.value) }, Object.entries(words).map(([name, text]) => el("option", { value: name, selected: name === now }, text)));
  return el("label.field", {}, label, field);
};

function pressed(drawing, words, on, press) {
  const button = el("button", { type: "button", onclick: async () => { await press(); draw(); } });
  const draw = () => { fill(button, icon(drawing), words(on())); button.setAttribute("aria-pressed", String(on())); };
  draw();
  return button;
}

const full = () => Boolean(document.fullscreenElement);
const toggleFull = () => (full() ? document.exitFullscreen() : document.documentElement.requestFullscreen()).catch(() => {});

/** The settings of this device; the parts of the job come before them. */
export function settingsPart() {
  return el("section.settings", { "aria-label": "This device" }, el("h3", {}, "This device"),
    choose("When to listen", "attention", MODES, mode(), setMode),
    choose("Look of the page", "theme", THEMES, theme(), setTheme),
    el("div.row", {},
      pressed("microphone", (on) => (on ? "Read-back: on" : "Read-back: off"), wanted, () => want(!wanted())),
      document.fullscreenEnabled ? pressed("screen", (on) => (on ? "Leave full screen" : "Full screen"), full, toggleFull) : null),
    el("p.soft", {}, "The screen stays on while it listens. With the browser's menu this page can be put on the home screen; it then opens like a program of its own, also while the server is away."));
}

/** The cautions, whole. */
export function cautionList(lines) {
  return el("section.cautions", { "aria-label": "Cautions" }, el("h3", {}, icon("warning"), "Cautions"), el("ul", {}, lines.map((line) => el("li", {}, line))));
}
