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

/** What goes on while the server is away, and what does not. */
export function withoutServerPart() {
  const list = (words, lines) => [el("h4", {}, words), el("ul", {}, lines.map((line) => el("li", {}, line)))];
  return el("details.more", { id: "without-server" }, el("summary", {}, "Without the server"),
    list("Goes on: kept in this browser, sent once and in order when the server is back", [
      "spoken readings, clips and photos, with the safety questions before them", "typed readings", "confirm, correct, reject and withdraw", "safety answers; power restored, another person",
    ]),
    el("p.soft", {}, "Jobs that were opened here before are shown as they were then. What was said or photographed is read when the server has it. Behind a certificate warning browsers keep no page: then it opens only with the server."),
    list("Needs the server, and says so at once", [
      "new jobs; correcting, closing and archiving them; plates and logo", "marking a display by its corners, and finding it in the camera's view; what the meters can show", "reports, verification, Review", "pairing and devices; confirming by saying twice and resting between readings, on or off",
    ]));
}

/** The cautions, whole. */
export function cautionList(lines) {
  return el("section.cautions", { "aria-label": "Cautions" }, el("h3", {}, icon("warning"), "Cautions"), el("ul", {}, lines.map((line) => el("li", {}, line))));
}
