// The list of jobs, and the form for a new one.

import { el, fill, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { look } from "./seen.js";
import { post } from "./server.js";
import { MOTORS, clock } from "./words.js";

const INSTRUMENTS = { insulation_tester: "Insulation tester", multimeter: "Multimeter", milliohmmeter: "Four-wire resistance meter" };

export async function jobsView(main, where) {
  where.textContent = "Jobs";
  const jobs = await look("/api/jobs");
  fill(main,
    el("div.row", {}, el("h1", {}, "Jobs"), el("a.button.main", { href: "#/new" }, "New job")),
    jobs.length
      ? el("ul.jobs", {}, jobs.map((job) => el("li", {}, el("a", { href: `#/jobs/${encodeURIComponent(job.id)}` },
          el("strong", {}, job.title), el("span.soft", {}, [job.id, job.customer, job.machine, clock(job.created_at)].filter(Boolean).join(" · "))))))
      : el("p", {}, "No job yet. Make one: it needs the machine, its axes and your instruments."));
}

const text = (label, name, props = {}) => el("label.field", {}, label, el("input", { name, autocomplete: "off", ...props }));
const pick = (label, name, options) => el("label.field", {}, label, el("select", { name }, Object.entries(options).map(([value, words]) => el("option", { value }, words))));

function axisRow() {
  return el("fieldset.card.axis-row", {}, el("legend.soft", {}, "Axis"),
    el("div.grid", {},
      text("Name (X, Y, B, SPINDLE)", "name", { required: true, maxlength: 16, autocapitalize: "characters" }),
      pick("Motor", "motor_kind", MOTORS),
      text("Rated voltage, V", "rated_voltage", { inputmode: "decimal" }),
      text("Rated power, W", "rated_power_w", { inputmode: "decimal" }),
      pick("Insulation", "insulation_system", { unknown: "not known", thermosetting: "thermosetting", thermoplastic: "thermoplastic" }),
      text("Winding temperature, °C", "winding_c", { inputmode: "decimal" })),
    el("label", {}, el("input", { type: "checkbox", name: "moving_cable" }), " Cable runs in a moving carrier"));
}

function instrumentRow(profiles) {
  return el("fieldset.card.instrument-row", {}, el("legend.soft", {}, "Instrument"),
    el("div.grid", {},
      text("Its number", "id", { maxlength: 31 }),
      pick("Kind", "kind", INSTRUMENTS),
      text("Accuracy, ± % of reading", "accuracy_percent", { inputmode: "decimal" }),
      text("Accuracy, ± counts", "accuracy_counts", { inputmode: "decimal" }),
      text("Largest value shown", "range_end", { placeholder: "4000 MOhm" }),
      text("Calibration due", "calibration_due", { type: "date" }),
      pick("What its display can show", "display_profile", { "": "not given", ...Object.fromEntries(profiles.map((p) => [p.name, p.title])) })));
}

const ROWS = "ohmtrail.rows";

function keepRows(counts) {
  try { localStorage.setItem(ROWS, JSON.stringify(counts)); } catch { /* full or private: it lasts until reload */ }
}

/** How many axes and instruments the form had that was being filled in. */
function rowsKept() {
  try { return JSON.parse(localStorage.getItem(ROWS)) || [1, 1]; } catch { return [1, 1]; }
}

/** Filled fields of a part of the form; empty ones are left out, so that "not known" stays unknown. */
function filled(part) {
  const out = {};
  for (const field of part.querySelectorAll("input[name], select[name]")) {
    if (field.type === "checkbox") out[field.name] = field.checked;
    else if (field.value.trim()) out[field.name] = field.value.trim();
  }
  return out;
}

export async function newJobView(main, where) {
  where.textContent = "New job";
  const head = el("div.card", {}, el("div.grid", {},
    text("Title", "title", { required: true, maxlength: 200 }), text("Customer", "customer", { required: true }),
    text("Machine", "machine", { required: true }), text("Serial number", "serial"), text("Site", "site"),
    text("Technician", "technician", { required: true }), text("Alarm text", "alarm_text"),
    text("Air temperature, °C", "air_c", { inputmode: "decimal" }), text("Relative humidity, %", "humidity_percent", { inputmode: "decimal" })));
  const axes = el("div", {}, axisRow());
  const profiles = await look("/api/profiles");
  const instruments = el("div", {}, instrumentRow(profiles));
  const create = async (description) => {
    try {
      const job = await post("/api/jobs", description);
      dropDraft("new");
      location.hash = `#/jobs/${encodeURIComponent(job.id)}`;
    } catch (error) { say(error.message, "error"); }
  };
  const form = el("form", { onsubmit: (event) => {
    event.preventDefault();
    create({
      ...filled(head),
      axes: [...axes.children].map(filled),
      instruments: [...instruments.children].map(filled).filter((i) => i.id),
    });
  } },
  head, el("h2", {}, "Axes"), axes,
  el("button", { type: "button", onclick: () => axes.append(axisRow()) }, "Add an axis"),
  el("h2", {}, "Instruments"), instruments,
  el("div.row", {}, el("button", { type: "button", onclick: () => instruments.append(instrumentRow(profiles)) }, "Add an instrument")),
  el("div.row", {}, el("button.main", { type: "submit" }, "Make the job"),
    el("label.button", {}, "Load a job file", el("input", { type: "file", accept: "application/json,.json", onchange: async (event) => {
      const file = event.target.files[0];
      if (!file) return;
      try { await create(JSON.parse(await file.text())); } catch { say("That file is no job description. Choose a JSON file that describes a job.", "error"); }
    } }))));
  // Rows that were added before a reload come back first: as many as make the number of fields that were kept.
  keepDraft(form, "new", () => {
    const [axisCount, instrumentCount] = rowsKept();
    while (axes.children.length < axisCount) axes.append(axisRow());
    while (instruments.children.length < instrumentCount) instruments.append(instrumentRow(profiles));
  });
  form.addEventListener("input", () => keepRows([axes.children.length, instruments.children.length]));
  fill(main, el("h1", {}, "New job"), form);
}
