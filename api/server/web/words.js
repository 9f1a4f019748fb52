// How values, places and verdicts are written on the page. Words that the report has too come from the server.

import { KINDS, MOTORS, SECTIONS, UNITS, URGENCIES } from "./terms.js";

export { KINDS, MOTORS, SECTIONS, UNITS, URGENCIES };

export const QUALIFIERS = { "=": "as shown", ">": "more than", "<": "less than", open: "open (over range)", short: "short (below resolution)", collapsed: "test voltage not built", none: "no valid value" };
export const VERDICTS = {
  unacceptable: ["fail", "✕", "Unacceptable"], marginal: ["watch", "▲", "Marginal"],
  inconclusive: ["unsure", "?", "Inconclusive"], acceptable: ["pass", "✓", "Within limits"],
};
export const DOUBTS = {
  unit_missing: "Which unit?", value_missing: "Which value?", axis_missing: "Which axis?", digits_ambiguous: "The digits could be read in two ways.",
  teen_or_ty: "“-teen” or “-ty”?", prefix_unsure: "Milli or mega?", dot_unsure: "Where is the decimal point?", unit_unsure: "Which unit is it?",
  unusual: "This meter seldom shows that: look at point, sign and unit again.",
  implausible: "This is outside what the quantity can be.", unknown_words: "Some words were not understood.", low_confidence: "Not recognised clearly.",
  not_settled: "The reading had not settled.", range_end_unknown: "Over range: more than how much?", built_voltage_unknown: "How many volts did the tester build?",
  place_unsure: "Which place? Something said before this was not understood, or the order does not fit.",
  notes_unsure: "Is what is noted beside it of this value? It was said between two values.",
  contradicted: "Another value of this point is on record; both cannot be true. Which one?", conflict: "Clip and photo disagree.", quantity_missing: "What was measured?", section_missing: `Which part: ${Object.values(SECTIONS).join(", ")}?`,
};

const OHMS = ["mOhm", "Ohm", "kOhm", "MOhm", "GOhm"];
/** The units that a quantity is usually shown in, for tapping one. */
export const USUAL_UNITS = {
  insulation_resistance: ["kOhm", "MOhm", "GOhm", "TOhm"], winding_resistance: ["uOhm", "mOhm", "Ohm", "kOhm"], resistance_to_ground: ["Ohm", "kOhm", "MOhm"], continuity: ["mOhm", "Ohm", "kOhm"],
  voltage: ["mV", "V", "kV"], current: ["uA", "mA", "A"], capacitance: ["nF", "uF"], temperature: ["Cel"], humidity: ["%"], time: ["s", "min"], null: [...OHMS, "V"],
};
export const UNIT_DOUBTS = ["unit_missing", "unit_unsure", "prefix_unsure"];
/** Doubts that a person settles by saying that the display shows exactly this. */
export const LOOK_AGAIN = ["unusual", "dot_unsure", "digits_ambiguous", "low_confidence", "implausible"];

/** A reading's value as shown: "> 4000 MΩ". */
export function shown(r) {
  const symbol = r.unit ? ` ${UNITS[r.unit] || r.unit}` : "";
  const digits = r.value === null || r.value === undefined ? null : r.value;
  if (!r.qualifier || r.qualifier === "=") return digits === null ? "no value" : `${digits}${symbol}`;
  if (r.qualifier === ">" || r.qualifier === "<") return `${r.qualifier} ${digits === null ? "range" : digits + symbol}`;
  const words = QUALIFIERS[r.qualifier] || r.qualifier;
  return digits === null ? words : `${words}, ${digits}${symbol}`;
}

const POINTS = { "lead-ground": "lead to ground", "lead-lead": "lead to lead" };

/** A test point as people read it. */
export const point = (terminals) => POINTS[terminals] || (terminals || "").replace("-", "–");

/** Where it was measured: "Axis X, motor alone, U–PE". */
export function place(r) {
  return [r.axis ? `Axis ${r.axis}` : "Axis not said", SECTIONS[r.section], point(r.terminals)].filter(Boolean).join(", ");
}

/** What can be noted beside a value, as people read it. */
export const CIRCUMSTANCES = {
  unsteady: "still moving", falling: "falling under voltage", low_battery: "low battery", leads_zeroed: "leads zeroed", brushes_out: "brushes out",
  reversed: "leads swapped over", flexed: "cable moved", after_cleaning: "after cleaning or repair", checked: "looked up again", one_phase_only: "other phases earthed or guarded",
};

/** Test voltage, time and what was noted: "500 V set, 512 V built, read at 60 s, position 30°". */
export function conditions(r) {
  return [r.test_voltage_set && `${r.test_voltage_set} V set`, r.test_voltage_built && `${r.test_voltage_built} V built`, r.elapsed_s && `read at ${r.elapsed_s} s`, notes(r)].filter(Boolean).join(", ");
}

/** What was noted beside it: "position 30°, after cleaning or repair". */
export function notes(r) {
  return [r.position && `position ${r.position}`, ...(r.circumstances || []).map((c) => CIRCUMSTANCES[c] || c)].filter(Boolean).join(", ");
}

/** An instant as people read it, in this device's own time: "2026-11-24 08:31:30". */
export function clock(text) {
  const at = new Date(text);
  if (Number.isNaN(at.getTime())) return String(text || "");
  const pad = (n) => String(n).padStart(2, "0");
  return `${at.getFullYear()}-${pad(at.getMonth() + 1)}-${pad(at.getDate())} ${pad(at.getHours())}:${pad(at.getMinutes())}:${pad(at.getSeconds())}`;
}
