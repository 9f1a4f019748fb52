// The form of a job, for making one and for correcting one: what is needed is marked, messages stand beside their field.

import { el, fill } from "./dom.js";
import { MOTORS } from "./words.js";

const INSTRUMENTS = { insulation_tester: "Insulation tester", multimeter: "Multimeter", milliohmmeter: "Four-wire resistance meter", thermometer: "Thermometer", hygrometer: "Hygrometer", other: "Other" };
export const LABELS = {
  title: "Title", customer: "Customer", machine: "Machine", technician: "Technician", serial: "Serial number", site: "Site", customer_contact: "Contact at the customer's",
  company: "Your company", contact: "How to reach it", alarm_text: "Alarm text", air_c: "Air temperature, °C", humidity_percent: "Relative humidity, %",
  name: "Name", motor_kind: "Motor", rated_voltage: "Rated voltage, V", rated_power_w: "Rated power, W", insulation_system: "Insulation", winding_c: "Winding temperature, °C",
  nameplate: "Type and serial number of the motor", moving_cable: "Cable runs in a moving carrier", note: "Remark",
  id: "Its number", kind: "Kind", certificate: "Certificate, number", certificate_date: "Certificate, date", calibration_due: "Calibration due", accuracy_percent: "Accuracy, ± % of reading",
  accuracy_counts: "Accuracy, ± counts", range_end: "Largest value shown", display_profile: "What its display can show",
};
let counter = 0;

/** A labelled field with the place for its message. */
function field(name, control, { needed = false, label = LABELS[name], hint = "" } = {}) {
  const id = `field-${(counter += 1)}`;
  const problem = el("p.problem", { id: `${id}-problem` });
  control.id = id;
  control.setAttribute("name", name);
  control.setAttribute("aria-describedby", problem.id);
  if (needed) control.setAttribute("aria-required", "true");
  return el("div.field", { "data-field": name }, el("label", { for: id }, label, needed ? el("span.needed", {}, " needed") : null), hint ? el("span.soft", {}, hint) : null, control, problem);
}

const text = (name, more = {}, props = {}) => field(name, el("input", { autocomplete: "off", ...props }), more);
const number = (name, more = {}) => text(name, more, { inputmode: "decimal" });
const pick = (name, options, more = {}) => field(name, el("select", {}, Object.entries(options).map(([value, words]) => el("option", { value }, words))), more);
const tick = (name) => el("div.field", { "data-field": name }, el("label", {}, el("input", { type: "checkbox", name }), ` ${LABELS[name]}`));
const more = (words, ...parts) => el("details.more", {}, el("summary", {}, words), el("div.grid", {}, parts));

function headPart() {
  return el("section.card", {}, el("h2", {}, "Machine and customer"),
    el("div.grid", {}, text("machine", { needed: true }), text("customer", { needed: true }), text("technician", { needed: true }), text("alarm_text")),
    more("More about it, as far as known", text("serial"), text("site"), text("customer_contact"), text("company"), text("contact"), text("title", { hint: "empty: machine and alarm" }), number("air_c"), number("humidity_percent")));
}

function axisRow() {
  return el("fieldset.card.axis-row", {}, el("legend.soft", {}, "Axis"),
    el("div.grid", {}, text("name", { needed: true, hint: "X, Y, B, SPINDLE" }, { maxlength: 16, autocapitalize: "characters" }),
      pick("motor_kind", { unknown: "not known yet", ...Object.fromEntries(Object.entries(MOTORS).filter(([kind]) => ["dc_servo", "ac_servo", "spindle"].includes(kind))) })),
    more("Motor and cable, as far as known", number("rated_voltage"), number("rated_power_w"),
      pick("insulation_system", { unknown: "not known", thermosetting: "thermosetting", thermoplastic: "thermoplastic" }), number("winding_c"), text("nameplate"), text("note"), tick("moving_cable")));
}

function instrumentRow(profiles) {
  return el("fieldset.card.instrument-row", {}, el("legend.soft", {}, "Instrument"),
    el("div.grid", {}, text("id", { needed: true, hint: "IT-03" }, { maxlength: 31 }), pick("kind", INSTRUMENTS), text("serial")),
    more("Certificate and accuracy", text("certificate"), text("certificate_date", {}, { type: "date" }), text("calibration_due", {}, { type: "date" }),
      number("accuracy_percent"), number("accuracy_counts"), text("range_end", { hint: "4000 MOhm" }),
      pick("display_profile", { "": "not given", ...Object.fromEntries(profiles.map((p) => [p.name, p.title])) })));
}

const controls = (part) => [...part.querySelectorAll("input[name], select[name]")];

/** The one range end that all test voltages share, as text; "" where they differ or there is none. */
function oneRange(ends) {
  const values = [...new Set(Object.values(ends || {}))];
  const ohms = values.length === 1 ? Number(String(values[0]).split(" ")[0]) : 0;
  return ohms ? (ohms >= 1e6 ? `${ohms / 1e6} MOhm` : `${ohms} Ohm`) : "";
}

const shownAs = (name, value) => (name === "range_end" ? oneRange(value) : value === null || value === undefined ? "" : typeof value === "object" ? "" : String(value));

/** Put a description's values into a part of the form. */
function put(part, values) {
  for (const control of controls(part)) {
    if (control.type === "checkbox") control.checked = Boolean(values[control.name]);
    else if (control.name in values || control.tagName !== "SELECT") control.value = shownAs(control.name, values[control.name]);
    control.dataset.was = control.type === "checkbox" ? String(control.checked) : control.value;
  }
}

/**
 * Read a part of the form over what was there before; an emptied field is left out, so that "not known" is unknown.
 * A field that nobody touched stays exactly as it was, with all that the form does not show.
 */
function read(part, before = {}) {
  const out = { ...before };
  for (const control of controls(part)) {
    if (control.type === "checkbox") { out[control.name] = control.checked; continue; }
    const value = control.value.trim();
    if (control.dataset.was !== undefined && control.dataset.was === control.value) continue;
    if (value) out[control.name] = value; else delete out[control.name];
  }
  return out;
}

/** The form of a job. */
export class JobForm {
  /**
   * @param {object[]} profiles generic profiles of displays
   * @param {object} [given] what `/description` gave, to correct a job; none to make one
   */
  constructor(profiles, given = null) {
    this.profiles = profiles;
    this.given = given;
    this.head = headPart();
    this.axes = el("div", { id: "axis-rows" });
    this.instruments = el("div", { id: "instrument-rows" });
    this.summary = el("p.problem", { id: "form-problem", role: "alert" });
    const buttons = (words, add) => el("div.row", {}, el("button", { type: "button", onclick: add }, words));
    this.parts = [this.head, el("h2", {}, "Axes"), this.problemOf("axes"), this.axes, buttons("Add an axis", () => this.addAxis(true)),
      el("h2", {}, "Instruments"), this.problemOf("instruments"), this.instruments, buttons("Add an instrument", () => this.addInstrument(true))];
    if (!given) { this.addAxis(); return; }
    put(this.head, given.description);
    given.description.axes.forEach((axis, i) => put(this.addAxis(false, given.axis_ids[i], axis), axis));
    given.description.instruments.forEach((one, i) => put(this.addInstrument(false, given.instrument_ids[i], one), one));
  }

  problemOf(name) { return el("div", { "data-field": name }, el("p.problem", { role: "alert" })); }

  add(list, row, focus, id, before) {
    row.before = before || {};
    row.rowId = id || null;
    if (!id) row.append(el("button", { type: "button", onclick: () => { row.remove(); } }, "Leave it out"));
    list.append(row);
    if (focus) row.querySelector("input").focus();
    return row;
  }

  addAxis(focus = false, id = null, before = null) { return this.add(this.axes, axisRow(), focus, id, before); }

  addInstrument(focus = false, id = null, before = null) { return this.add(this.instruments, instrumentRow(this.profiles), focus, id, before); }

  /** What is typed, as the server takes it. */
  description() {
    return {
      ...read(this.head, this.given ? { ...this.given.description } : {}),
      axes: [...this.axes.children].map((row) => read(row, row.before)),
      instruments: [...this.instruments.children].map((row) => read(row, row.before)),
    };
  }

  ids() {
    const of = (list) => [...list.children].map((row) => row.rowId);
    return { axis_ids: of(this.axes), instrument_ids: of(this.instruments) };
  }

  /** The part of the form that a place names: "axes.0.name". */
  at(place) {
    const [first, index, name] = place.split(".");
    const list = { axes: this.axes, instruments: this.instruments }[first];
    if (list && name !== undefined && list.children[Number(index)]) return list.children[Number(index)].querySelector(`[data-field="${CSS.escape(name)}"]`);
    return this.parts.map((part) => (part.dataset.field === first ? part : part.querySelector && !list ? part.querySelector(`[data-field="${CSS.escape(first)}"]`) : null)).find(Boolean) || null;
  }

  clear() {
    for (const part of this.parts) for (const line of part.querySelectorAll(".problem")) line.textContent = "";
    for (const part of this.parts) for (const control of controls(part)) control.removeAttribute("aria-invalid");
    this.summary.textContent = "";
  }

  /** Say what is wrong, each beside its field, and go to the first. */
  complain(error) {
    this.clear();
    const left = [];
    let first = null;
    let count = 0;
    for (const [place, words] of Object.entries(error.fields || {})) {
      const part = this.at(place);
      const line = part && part.querySelector(".problem");
      count += 1;
      if (!line) { left.push(words); continue; }
      line.textContent = words;
      const control = part.querySelector("input, select");
      if (control) control.setAttribute("aria-invalid", "true");
      const folded = part.closest("details");
      if (folded) folded.open = true;
      if (!first || part.compareDocumentPosition(first) & Node.DOCUMENT_POSITION_FOLLOWING) first = part;
    }
    const told = count ? `${count === 1 ? "One field needs" : `${count} fields need`} a look; what to do stands beside ${count === 1 ? "it" : "each"}.` : error.message;
    this.summary.textContent = [told, ...left].join(" ");
    const control = first && first.querySelector("input, select");
    if (control) control.focus();
    else if (first) first.scrollIntoView({ block: "center" });
  }
}

/** Show a form: its parts, and what belongs below them. */
export const shownForm = (form, submit, ...below) => {
  const node = el("form.job-form", { novalidate: true, onsubmit: (event) => { event.preventDefault(); submit(); } });
  fill(node, form.parts, form.summary, below);
  return node;
};
