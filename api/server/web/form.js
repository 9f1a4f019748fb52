// The fields of one reading, for typing one or correcting one.

import { el } from "./dom.js";
import { KINDS, QUALIFIERS, SECTIONS, UNITS } from "./words.js";

const options = (words, chosen, none) => [none ? el("option", { value: "" }, none) : null, ...Object.entries(words).map(([value, label]) => el("option", { value, selected: value === (chosen || "") }, label))];
const input = (label, name, value, props = {}) => el("label.field", {}, label, el("input", { name, value: value || "", autocomplete: "off", ...props }));
const select = (label, name, ...rest) => el("label.field", {}, label, el("select", { name }, options(...rest)));

/**
 * A form with the fields of a reading.
 * @param {object} reading fills the fields
 * @param {object} job for the names of its axes
 * @param {(reading: object) => void} send called with every field, empty ones as null
 * @param {boolean} hidden whether it starts hidden
 */
export function readingForm(reading, job, send, hidden) {
  const axes = Object.fromEntries(job.axes.map((a) => [a.name, a.name]));
  return el("form", { hidden, onsubmit: (event) => {
    event.preventDefault();
    send(Object.fromEntries([...new FormData(event.currentTarget)].map(([k, v]) => [k, v.trim() || null])));
  } },
  el("div.grid", {},
    input("Value, as the display shows it", "value", reading.value, { inputmode: "decimal" }),
    select("Unit", "unit", UNITS, reading.unit, "not known"),
    select("Meaning", "qualifier", QUALIFIERS, reading.qualifier),
    select("Axis", "axis", axes, reading.axis, "none"),
    select("Part", "section", SECTIONS, reading.section, "not said"),
    input("Terminals", "terminals", reading.terminals),
    select("Quantity", "kind", KINDS, reading.kind, "not said"),
    input("Test voltage set, V", "test_voltage_set", reading.test_voltage_set, { inputmode: "decimal" }),
    input("Voltage built, V", "test_voltage_built", reading.test_voltage_built, { inputmode: "decimal" }),
    input("Read after, s", "elapsed_s", reading.elapsed_s, { inputmode: "decimal" }),
    input("Shaft or carrier position", "position", reading.position, { maxlength: "40" })),
  el("button.main", { type: "submit" }, "Use these"));
}

/** The fields that differ from a reading: what a person left as it was is no correction. */
export function changed(before, after) {
  return Object.fromEntries(Object.entries(after).filter(([name, value]) => (before[name] || null) !== value));
}

/** The fields that were filled in: what was left empty is taken from where the work stands. */
export function filledIn(reading) {
  return Object.fromEntries(Object.entries(reading).filter(([, value]) => value !== null));
}
