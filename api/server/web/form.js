// The fields of one reading, for typing one or correcting one.

import { el } from "./dom.js";
import { CIRCUMSTANCES, KINDS, QUALIFIERS, SECTIONS, UNITS } from "./words.js";

const options = (words, chosen, none) => [none ? el("option", { value: "" }, none) : null, ...Object.entries(words).map(([value, label]) => el("option", { value, selected: value === (chosen || "") }, label))];
const input = (label, name, value, props = {}) => el("label.field", {}, label, el("input", { name, value: value || "", autocomplete: "off", ...props }));
const select = (label, name, ...rest) => el("label.field", {}, label, el("select", { name }, options(...rest)));

/** What was noted beside the value; in sight where something was. */
function circumstances(noted = []) {
  const box = ([value, label]) => el("label.check", {}, el("input", { type: "checkbox", name: "circumstances", value, checked: noted.includes(value) }), label);
  return el("details.circumstances", { open: noted.length > 0 }, el("summary", {}, "Circumstances"), el("div.checks", {}, Object.entries(CIRCUMSTANCES).map(box)));
}

/** Every field of a form; empty ones are null, circumstances a list. */
function fields(form) {
  const given = new FormData(form);
  const noted = given.getAll("circumstances");
  given.delete("circumstances");
  return { ...Object.fromEntries([...given].map(([name, value]) => [name, value.trim() || null])), circumstances: noted };
}

/**
 * A form with the fields of a reading.
 * @param {object} reading fills the fields
 * @param {object} job for the names of its axes
 * @param {(reading: object) => void} send called with every field, empty ones as null; `circumstances` is a list
 * @param {boolean} hidden whether it starts hidden
 */
export function readingForm(reading, job, send, hidden) {
  const axes = Object.fromEntries(job.axes.map((a) => [a.name, a.name]));
  return el("form", { hidden, onsubmit: (event) => {
    event.preventDefault();
    send(fields(event.currentTarget));
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
  circumstances(reading.circumstances),
  el("button.main", { type: "submit" }, "Use these"));
}

const asText = (value) => (Array.isArray(value) ? [...value].sort().join() : value || "");

/** The fields that differ from a reading: what a person left as it was is no correction. */
export function changed(before, after) {
  return Object.fromEntries(Object.entries(after).filter(([name, value]) => asText(before[name]) !== asText(value)));
}

/** The fields that were filled in: what was left empty is taken from where the work stands. */
export function filledIn(reading) {
  return Object.fromEntries(Object.entries(reading).filter(([, value]) => asText(value)));
}
