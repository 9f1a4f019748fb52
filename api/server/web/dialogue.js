// Where the dialogue stands, the same in every tab: the open question, those that wait, and the discharge counted down.

import { el, fill, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { away } from "./link.js";
import { act } from "./outbox.js";
import { readBack } from "./readback.js";
import { look } from "./seen.js";
import { now, post } from "./server.js";

const SPOKEN_AT = [120, 60, 30, 10]; // seconds left at which the countdown is spoken

const SHOWN = 3; // questions of those that wait

/** The discharge that is counted down, for a page beside the work; it ends with that page. */
export async function dischargePart(job, path) {
  const part = new DialoguePart(job, path, async () => {});
  part.draw(await look(`${path}/dialogue`));
  let shown = false;
  const watch = setInterval(() => {
    if (part.discharge.isConnected) shown = true;
    else if (shown) { part.close(); clearInterval(watch); }
  }, 1000);
  return el("div.alarms", {}, part.discharge);
}

export class DialoguePart {
  /**
   * @param {object} job
   * @param {string} path of the job
   * @param {() => Promise<void>} refresh called after a tap
   */
  constructor(job, path, refresh) {
    this.job = job;
    this.path = path;
    this.refresh = refresh;
    this.question = el("section.card.question", { id: "question", "aria-live": "polite", hidden: true });
    this.queue = el("ol.queue", { id: "queue", hidden: true });
    this.discharge = el("p.discharge", { id: "discharge", role: "timer", hidden: true });
    this.twice = el("input", { type: "checkbox", id: "said-twice", onchange: () => this.set("confirmation", { said_twice: this.twice.checked }) });
    this.rests = el("input", { type: "checkbox", id: "rests", onchange: () => this.set("attention", { rests: this.rests.checked }) });
    // The job puts them where they belong: discharge above all, question and queue beside the value, the setting behind "More".
    this.timer = setInterval(() => this.count(), 1000);
  }

  close() {
    clearInterval(this.timer);
  }

  /** Whoever presses Speak means to be heard: a job at rest wakes. */
  async wake() {
    if (this.rests.checked && !away()) await post(`${this.path}/attention`, { rests: true, captured_at: now() });
  }

  async set(what, wanted) {
    try {
      const answer = await post(`${this.path}/${what}`, { ...wanted, captured_at: now() });
      readBack(answer.spoken);
    } catch (error) { say(error.message, "error"); }
    await this.refresh();
  }

  /** @param {object} state as the server gives it */
  draw(state) {
    this.twice.checked = state.said_twice;
    this.rests.checked = state.rests;
    const [open, ...waiting] = state.questions;
    const shown = JSON.stringify(open || null);
    if (shown !== this.shown) { // drawing anew would empty the field that a person is filling in
      this.shown = shown;
      this.question.hidden = !open || open.kind !== "safety";
      fill(this.question, open && open.kind === "safety" ? this.safety(open) : null);
    }
    this.queue.hidden = !waiting.length;
    const shownOnes = waiting.slice(0, SHOWN).map((q) => el("li", {}, q.kind === "safety" ? `${q.axis}: ${q.text}` : q.text));
    fill(this.queue, shownOnes, waiting.length > SHOWN ? el("li", {}, `and ${waiting.length - SHOWN} more`) : null);
    const ends = state.discharge ? Date.now() + state.discharge.left_s * 1000 : 0;
    const axis = state.discharge ? state.discharge.axis : "";
    if (!ends || axis !== this.axis || Math.abs(ends - this.ends) > 3000) { this.ends = ends; this.axis = axis; this.before = Infinity; }
    this.count();
  }

  safety(open) {
    const field = open.value_unit ? el("input", { inputmode: "decimal", "aria-label": `Measured, ${open.value_unit}`, placeholder: `measured, ${open.value_unit}` }) : null;
    const refused = el("p.refused", { role: "alert" });
    const draft = `${this.job.id}.${open.axis}.${open.step}`;
    const row = el("div.row", {}, field);
    if (field) keepDraft(row, draft);
    const send = (answer) => async () => {
      try {
        const body = { step: open.step, answer, how: "tapped", ...(field && field.value.trim() ? { value: field.value.trim() } : {}) };
        const sent = await act(this.job.id, `${this.path}/axes/${encodeURIComponent(open.axis)}/safety`, body, `${open.axis}: ${open.text} ${answer}`);
        dropDraft(draft);
        if (sent.waiting) refused.textContent = "Answered here; waits for the server.";
      } catch (error) { refused.textContent = error.message; say(error.message, "error"); }
      await this.refresh();
    };
    return [el("p.place", {}, `Axis ${open.axis}, before any insulation test`), el("p.sentence", {}, open.text), refused,
      el("div.row", {}, row, el("button.main", { type: "button", onclick: send("yes") }, "Yes"), el("button", { type: "button", onclick: send("no") }, "No"),
        open.may_not_apply ? el("button", { type: "button", onclick: send("not_applicable") }, "Does not apply") : null)];
  }

  /** Count the discharge down on the screen, and aloud now and then. */
  count() {
    const left = this.ends ? Math.max(0, Math.round((this.ends - Date.now()) / 1000)) : 0;
    const clock = `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
    // Where a sheet or the camera lies over it, in short there.
    for (const part of document.querySelectorAll(".discharge-short")) part.textContent = left ? `${this.axis} ${clock}: do not touch` : "";
    if (!this.ends) { this.discharge.hidden = true; return; }
    this.discharge.hidden = false;
    this.discharge.textContent = left
      ? `Axis ${this.axis}: keep the leads discharged, ${clock} to go. Do not touch.`
      : `Axis ${this.axis}: the discharge time is over. Measure, then earth, before anyone touches a terminal.`;
    const mark = SPOKEN_AT.find((second) => left <= second && this.before > second);
    if (mark !== undefined && this.before !== Infinity) readBack(`${mark} seconds of discharge left.`);
    if (left === 0 && this.before > 0 && this.before !== Infinity) readBack("The discharge time is over. Measure, then earth, before anyone touches a terminal.");
    this.before = left;
  }
}

/** Buttons for the end of a lock-out: every safety answer then counts no more. */
export function lockoutPart(job, path, refresh) {
  const name = el("input", { name: "person", maxlength: "60", autocomplete: "off", placeholder: "name of the other person", "aria-label": "Name of the person who goes on" });
  const send = (reason) => async () => {
    try {
      const body = { reason, name: reason === "another_person" ? name.value.trim() : "" };
      const answer = await act(job.id, `${path}/lockout`, body, reason === "another_person" ? "another person goes on" : "power was restored");
      say(answer.waiting ? "Kept here; sent when the server is back." : answer.message);
      if (!answer.waiting) readBack(answer.spoken);
      name.value = "";
    } catch (error) { say(error.message, "error"); }
    await refresh();
  };
  return el("details.card", { id: "lockout" }, el("summary", {}, "Lock-out ended, or somebody else goes on"),
    el("p.soft", {}, "Every safety question is asked again, on all axes."),
    el("div.row", {}, el("button.warn", { type: "button", onclick: send("power_restored") }, "Power was restored"), name, el("button", { type: "button", onclick: send("another_person") }, "Another person goes on")));
}
