// Correcting a value with the thumb: keys for gloves, the units that its quantity is shown in, and behind them every field.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";
import { UNITS, USUAL_UNITS } from "./words.js";

const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0"];
const LONGEST = 14; // digits and point; no display shows more

/**
 * The keys for one reading.
 * @param {object} reading as it stands
 * @param {(after: object) => void} send called with value, unit and qualifier
 * @param {() => void} whole shows every field instead
 * @returns {Node[]}
 */
export function keypad(reading, send, whole) {
  const field = el("input.keyed", { name: "keyed", inputmode: "none", autocomplete: "off", maxlength: LONGEST, "aria-label": "Value, as the display shows it", "data-first": true, value: reading.value || "" });
  let fresh = Boolean(reading.value); // the first key writes anew, as on any instrument
  let unit = reading.unit;
  let over = reading.qualifier === ">";
  field.addEventListener("input", () => { fresh = false; });
  const type = (key) => {
    if (fresh) field.value = "";
    fresh = false;
    if (field.value.length < LONGEST && !(key === "." && field.value.includes("."))) field.value += key;
  };
  const key = (name) => el("button.key", { type: "button", onclick: () => type(name) }, name);
  const back = el("button.key", { type: "button", "aria-label": "Delete the last digit", onclick: () => { fresh = false; field.value = field.value.slice(0, -1); } }, "⌫");
  const units = el("div.unit-keys", { role: "group", "aria-label": "Unit" });
  const over_ = el("button.key.over", { type: "button", "aria-pressed": String(over), onclick: () => { over = !over; over_.setAttribute("aria-pressed", String(over)); } }, "> more than");
  const drawUnits = () => fill(units, [...new Set([reading.unit, ...(USUAL_UNITS[reading.kind] || USUAL_UNITS.null)])].filter(Boolean).slice(0, 5)
    .map((one) => el("button.key", { type: "button", "data-unit": one, "aria-pressed": String(one === unit), onclick: () => { unit = one; drawUnits(); units.querySelector("[aria-pressed=true]").focus(); } }, UNITS[one])), over_);
  drawUnits();
  const done = () => {
    const value = field.value.trim() || null;
    const kept = reading.qualifier === ">" || reading.qualifier === "=" || !reading.qualifier ? "=" : reading.qualifier;
    send({ value, unit, qualifier: over ? ">" : kept });
  };
  field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); done(); } });
  return [el("div.keypad", {}, el("div.keyed-row", {}, field, units), el("div.keys", {}, KEYS.map(key), back),
    el("div.sheet-answers", {}, el("button", { type: "button", onclick: whole }, icon("pencil"), "All fields"), el("button.main", { type: "button", onclick: done }, icon("yes"), "Use this")))];
}
