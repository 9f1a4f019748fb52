// The safety questions that were not answered at the machine: asked in the review, one key each, marked as given afterwards.

import { el, say } from "./dom.js";
import { get, now, post } from "./server.js";

export class SafetyKeys {
  /**
   * @param {string} path of the job
   * @param {() => void} drawn called when something changed
   */
  constructor(path, drawn) {
    this.path = path;
    this.drawn = drawn;
    this.steps = [];
  }

  /** Whether a question is open. */
  get asks() { return this.steps.length > 0; }

  /** Ask what is open for an axis. */
  async open(axis) {
    this.axis = axis;
    const found = await get(`${this.path}/axes/${encodeURIComponent(axis)}/safety`);
    this.steps = found.steps.filter((step) => !step.met);
    if (!this.steps.length) say("The answers are of another day than the reading: answer them on the job's page.", "error");
  }

  node() {
    const step = this.steps[0];
    const value = step.value_unit ? el("input", { type: "text", inputmode: "decimal", "aria-label": `Measured value, ${step.value_unit}`, onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); this.answer("yes", event.target.value); } } }) : null;
    if (value) setTimeout(() => value.focus(), 0);
    return el("div", { id: "safety-question" },
      el("p.place", {}, `Axis ${this.axis}: ${this.steps.length} safety ${this.steps.length === 1 ? "question" : "questions"} not answered at the machine`),
      el("p.question", {}, step.question), el("p.soft", {}, step.why),
      el("p.caution", {}, "Say how it was when the reading was taken. The record will say that it was answered afterwards."),
      value ? el("p", {}, value, ` ${step.value_unit}, then Enter`) : null,
      el("div.keys", {}, value ? null : el("button.main", { type: "button", onclick: () => this.answer("yes") }, el("kbd", {}, "Y"), "Yes"),
        el("button", { type: "button", onclick: () => this.answer("no") }, el("kbd", {}, "N"), "No"),
        step.may_not_apply ? el("button", { type: "button", onclick: () => this.answer("not_applicable") }, el("kbd", {}, "A"), "Does not apply") : null,
        el("button", { type: "button", onclick: () => this.later() }, el("kbd", {}, "Esc"), "Later")));
  }

  /** Answer by a key; false where the key means nothing here. Enter does not: it confirms values, and is pressed without reading. */
  key(name) {
    const step = this.steps[0];
    if (name === "escape") { this.later(); return true; }
    const answer = { y: "yes", n: "no", a: step.may_not_apply ? "not_applicable" : null }[name];
    if (!answer || (answer === "yes" && step.value_unit)) return false;
    this.answer(answer);
    return true;
  }

  later() {
    this.steps = [];
    this.drawn();
  }

  async answer(answer, value = null) {
    if (this.busy) return;
    this.busy = true;
    try {
      const body = { step: this.steps[0].id, answer, note: "given afterwards, in the review", captured_at: now() };
      await post(`${this.path}/axes/${encodeURIComponent(this.axis)}/safety`, value === null ? body : { ...body, value });
      this.steps.shift();
      if (answer === "no") { say("Answered no: this axis's insulation values stay out of the record."); this.steps = []; }
    } catch (error) { say(error.message, "error"); } finally { this.busy = false; }
    this.drawn();
  }
}
