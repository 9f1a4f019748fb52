// The place of the work: one value that is read from two metres, where the conversation stands, the question, and three
// buttons that never move. It draws what it is given; what a press does is the job's.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";
import { settling } from "./proposal.js";
import { KINDS, UNITS, conditions, place, shown } from "./words.js";

const STATES = {
  ready: ["READY", "meter"], listening: ["LISTENING", "microphone"], heard: ["HEARD", "check"], asking: ["ASKING", "warning"],
  confirmed: ["CONFIRMED", "yes"], paused: ["PAUSED", "halt"], resting: ["AT REST", "halt"], working: ["READING", "more"],
};
const LEAST = 4; // characters: a single digit does not grow over everything

/** A value in two: what the display's digits say, and the unit. */
function parted(row) {
  const text = row.display || shown(row);
  const unit = UNITS[row.unit] || "";
  return unit && text.endsWith(` ${unit}`) ? [text.slice(0, -unit.length - 1), unit] : [text, ""];
}

/** What comes next in two: where and what, as it is written on a cabinet and not as it is spoken; and why. */
function coming(said, point) {
  const [, first, why] = /^(?:.* )?(Next: .*?\.)(?: (.*))?$/s.exec(said) || /^()()/.exec("");
  if (!point || !first) return [said, ""];
  const volts = point.test_voltage ? ` at ${point.test_voltage} V` : "";
  const where = place(point).replace("–", "\u2060–\u2060"); // "A1–A2" stays in one line
  return [`Next: ${where}: ${(KINDS[point.kind] || "").toLowerCase()}${volts}.`, why || ""];
}

export class Stage {
  /**
   * @param {object} job
   * @param {{confirm: () => void, correct: () => void, reject: () => void, type: () => void, more: () => void, photo: () => void}} press
   * @param {Node[]} beside what stands between value and buttons: warnings, questions, what waits
   */
  constructor(job, press, beside) {
    this.job = job;
    this.meter = el("i");
    this.state = el("div.state");
    this.words = el("div.words", { id: "words" });
    this.now = el("section.now", { "aria-live": "polite", "aria-label": "Listening" }, this.state, this.words, el("div.level", { "aria-hidden": "true" }, this.meter));
    this.value = el("p.big", { id: "value" });
    this.what = el("p.what", { id: "what" });
    this.told = el("p.told");
    this.picture = el("div.shown-crop");
    this.reading = el("section.reading", { id: "reading", "aria-live": "polite", "aria-atomic": "true", "aria-label": "Value" }, this.told, this.value, this.what, this.picture);
    this.asked = el("div.asked", { id: "asked" });
    this.next = el("p.next", { id: "next" });
    this.speak = el("button.speak", { type: "button", "aria-pressed": "false" });
    this.photo = el("button.photo", { type: "button", id: "photo-button", onclick: press.photo }, icon("camera"), "Photo");
    this.confirm = el("button.confirm", { type: "button", disabled: true, onclick: press.confirm }, icon("yes"), "Confirm");
    this.correct = el("button.correct", { type: "button", disabled: true, "aria-haspopup": "dialog", onclick: press.correct }, icon("pencil"), "Correct");
    this.reject = el("button.warn", { type: "button", hidden: true, onclick: press.reject }, icon("no"), "Reject");
    this.type = el("button", { type: "button", id: "type", "aria-haspopup": "dialog", onclick: press.type }, icon("keys"), "Type");
    this.more = el("button", { type: "button", id: "more", "aria-haspopup": "dialog", onclick: press.more }, icon("more"), "More");
    this.node = el("section.measure", { "aria-label": "Measure" }, this.now,
      el("div.middle", {}, this.reading, el("div.ask", {}, beside, this.asked, this.next)),
      el("div.second", {}, this.correct, this.reject, this.type, this.more),
      el("div.dock", {}, this.speak, this.photo, this.confirm));
    this.listens(false);
  }

  /** Show where the conversation stands. */
  says(state, words) {
    const [name, drawing] = STATES[state] || [state, "meter"];
    this.now.className = `now ${state}${this.on ? " live" : ""}`;
    fill(this.state, icon(drawing), el("span", {}, name));
    this.words.classList.toggle("long", words.length > 75);
    if (this.words.textContent !== words) this.words.textContent = words;
  }

  level(share) { this.meter.style.width = `${Math.round(share * 100)}%`; }

  /** Whether the microphone is on. */
  listens(on) {
    this.on = on;
    fill(this.speak, icon(on ? "halt" : "microphone"), on ? "Stop" : "Speak");
    this.speak.setAttribute("aria-pressed", String(on));
    this.now.classList.toggle("live", on);
    if (!on) this.level(0);
  }

  /**
   * @param {object|null} proposal the one that is asked about
   * @param {object|null} record the last one confirmed
   * @param {{next: string, nextPoint: object|null, question: object|undefined, waits: boolean, answer: Function|null}} more
   */
  draw(proposal, record, { next, nextPoint, question, waits, answer }) {
    const row = proposal || record;
    const safety = Boolean(question && question.kind === "safety");
    this.node.classList.toggle("safety-open", safety);
    this.node.classList.toggle("doubtful-open", Boolean(proposal && (proposal.doubts || []).length));
    const [digits, unit] = row ? parted(row) : ["– – –", ""];
    const words = /[a-z]{3}/i.test(digits); // "open (over range)": set in lines, as large as its longest word allows
    this.value.className = words ? "big in-words" : "big";
    this.value.style.setProperty("--n", Math.max(LEAST, words ? 2 + Math.max(...digits.split(" ").map((w) => w.length)) : digits.length));
    this.value.style.setProperty("--u", unit ? 0.55 * (unit.length + 1) : 0);
    const fresh = `${digits} ${unit}`.trim();
    if (this.value.textContent !== fresh) fill(this.value, el("span.digits", {}, digits), unit ? el("span.unit", {}, ` ${unit}`) : null);
    fill(this.told, !row ? "No reading yet" : !proposal ? [icon("yes"), "Recorded"] : waits ? "Answered here; waits for the server" : (proposal.doubts || []).length ? [icon("warning"), "In doubt"] : [icon("warning"), "To confirm"]);
    this.reading.className = `reading ${!row ? "none" : !proposal ? "recorded" : (proposal.doubts || []).length ? "doubtful" : "open"}`;
    fill(this.what, row ? [place(row), [KINDS[row.kind], conditions(row)].filter(Boolean).join(", ")].filter(Boolean).map((line) => el("span", {}, line)) : null);
    const seen = row && (row.crop_sha256 || null);
    if (this.seen !== seen) fill(this.picture, seen ? el("img", { src: `/api/evidence/${seen}/content`, alt: row.seen_text ? `Display in the photo, read as ${row.seen_text}` : "Display in the photo" }) : null);
    this.seen = seen;
    const key = proposal ? `${proposal.id}@${proposal.revision} ${safety} ${waits}` : "";
    if (key !== this.key) fill(this.asked, proposal && !safety && !waits ? settling(proposal, this.job, answer) : null);
    this.key = key;
    const [first, why] = coming(next, nextPoint);
    fill(this.next, proposal || !next ? null : [el("strong", {}, first), why ? [" ", el("span.why", {}, why)] : null]);
    this.confirm.disabled = !proposal || waits || safety || (proposal.doubts || []).length > 0;
    this.correct.disabled = !row || waits;
    this.reject.hidden = !proposal;
    this.reject.disabled = waits;
    this.type.hidden = Boolean(proposal);
  }

  /** Say why an answer was refused, beside the question. */
  refuse(message) { fill(this.asked, el("p.refused", { role: "alert" }, message)); this.key = null; }
}
