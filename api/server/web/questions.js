// The safety questions, one at a time where the work is. While the server is away they are asked here before a capture, and
// the answers wait like all else that is tapped; else they are asked once a value was refused because they are open.
// The server remains the judge: an insulation value that arrives while a question is open stays a proposal.

import { el, fill } from "./dom.js";
import { away, onLink } from "./link.js";
import { act } from "./outbox.js";
import { readBack } from "./readback.js";
import { now } from "./server.js";

export const safetyPath = (job, axis) => `/api/jobs/${encodeURIComponent(job.id)}/axes/${encodeURIComponent(axis)}/safety`;

/** Whether an answer lets the work go on; `value_below` comes from the server. */
function meets(step, answer, value) {
  if (answer === "not_applicable") return step.may_not_apply;
  if (answer !== "yes") return false;
  const number = Number(String(value || "").replace(",", "."));
  return !step.value_unit || (String(value || "").trim() !== "" && Math.abs(number) < Number(step.value_below));
}

export class SafetyCard {
  /** @param {object} job @param {() => Promise<void>} refresh asks the server anew @param {() => void} come brings the person to the place of the work */
  constructor(job, refresh, come) {
    Object.assign(this, { job, refresh, come });
    this.axis = job.axes[0] && job.axes[0].name;
    this.safety = []; // as the server gave it last, an axis each
    this.waiting = []; // what waits to be sent
    this.node = el("section.card.question", { id: "safety-card", "aria-live": "polite", hidden: true });
    this.ended = onLink((isAway) => { if (!isAway && this.go) this.over(true); });
  }

  close() { this.ended(); }

  /** The steps that nobody has answered as required, here or on the server, today. */
  open(axis) {
    const today = now().slice(0, 10);
    const of = this.safety.find((one) => one.axis === axis);
    if (!of) return [];
    const given = new Map(of.steps.filter((s) => s.met && s.answer && s.answer.captured_at.slice(0, 10) >= today).map((s) => [s.id, true]));
    for (const [, item] of this.waiting) {
      if (item.refused || !item.path) continue;
      const body = JSON.parse(item.body);
      if (item.path.endsWith("/lockout")) given.clear();
      const step = item.path.endsWith("/safety") && of.steps.find((s) => s.id === body.step);
      if (step && (step.cabinet || item.path === safetyPath(this.job, axis))) given.set(step.id, meets(step, body.answer, body.value));
    }
    return of.steps.filter((s) => !given.get(s.id));
  }

  /** Whether a capture must be preceded by questions here. */
  due(axis = this.axis) { return away() && !this.passed && this.open(axis || this.axis).length > 0; }

  /**
   * Ask before a capture; resolves to whether it may go on: every question answered, or said to be no insulation test.
   * @param {string} [axis] where it is known
   */
  async ask(axis) {
    if (axis) this.axis = axis;
    if (!this.due()) { this.passed = false; return true; }
    return this.begin();
  }

  /** Ask although the server is there: it has refused a value because of them. */
  async insist(axis) {
    if (axis) this.axis = axis;
    return this.begin();
  }

  begin() {
    if (this.go) this.go(false); // asked again: the question before is over
    const answer = new Promise((resolve) => { this.go = resolve; });
    this.come();
    this.draw();
    return answer;
  }

  over(goesOn) {
    const { go } = this;
    this.go = null;
    this.node.hidden = true;
    if (go) go(goesOn);
    this.refresh();
  }

  draw() {
    const [step] = this.open(this.axis);
    if (!step) { this.over(true); return; }
    this.node.hidden = false;
    this.node.scrollTop = 0;
    const field = step.value_unit ? el("input", { inputmode: "decimal", "aria-label": `Measured, ${step.value_unit}`, placeholder: `measured, ${step.value_unit}` }) : null;
    const refused = el("p.refused", { role: "alert" });
    const send = (answer) => async () => {
      const value = field ? field.value.trim() : "";
      if (answer === "yes" && field && !value) { refused.textContent = `Type what was measured, in ${step.value_unit}.`; return; }
      const body = { step: step.id, answer, how: "tapped", ...(value ? { value } : {}) };
      const path = safetyPath(this.job, this.axis);
      const sent = act(this.job.id, path, body, `${this.axis}: ${step.question} ${answer === "not_applicable" ? "does not apply" : answer}`);
      if (away()) {
        sent.catch((error) => { refused.textContent = error.message; });
        this.waiting = [...this.waiting, [0, { path, body: JSON.stringify(body) }]];
      } else {
        try { await sent; } catch (error) { refused.textContent = error.message; return; }
        await this.refresh();
      }
      if (!meets(step, answer, value)) refused.textContent = "This stays open. Do not test insulation.";
      else if (this.go) this.draw();
    };
    const axes = el("select", { "aria-label": "Axis", onchange: () => { this.axis = axes.value; this.draw(); } }, this.job.axes.map((a) => el("option", { value: a.name, selected: a.name === this.axis }, `Axis ${a.name}`)));
    const head = away() ? [el("p.place", {}, "The server is away. Before any insulation test:"), axes] : el("p.place", {}, `Axis ${this.axis}, before any insulation test`);
    fill(this.node, el("div.row.asked-for", {}, head), el("p.sentence", {}, step.question), el("p.soft.why-asked", {}, step.why), refused,
      el("div.row", {}, field, el("button.main", { type: "button", onclick: send("yes") }, "Yes"), el("button", { type: "button", onclick: send("no") }, "No"),
        step.may_not_apply ? el("button", { type: "button", onclick: send("not_applicable") }, "Does not apply") : null,
        away() ? el("button", { type: "button", id: "no-test", onclick: () => this.over(true) }, "This is no insulation test") : null, el("button", { type: "button", onclick: () => this.over(false) }, "Not now")));
    readBack(step.question);
  }
}
