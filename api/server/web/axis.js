// One axis: its verdict, the safety questions, its readings with their evidence, and what follows from them.

import { el, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { changed, readingForm } from "./form.js";
import { act as send } from "./outbox.js";
import { planPart } from "./plan.js";
import { proofs } from "./proof.js";
import { safetyPath } from "./questions.js";
import { KINDS, MOTORS, SECTIONS, URGENCIES, VERDICTS, clock, conditions, point, shown } from "./words.js";

/** A verdict with its symbol; urgency is the finer word. */
export function verdictTag(verdict, urgency) {
  const [mark, sign, words] = VERDICTS[verdict] || ["none", "–", "No reading yet"];
  const note = urgency === "information" && verdict === "acceptable";
  return el(`span.verdict.${note ? "none" : mark}`, {}, `${note ? "–" : sign} ${URGENCIES[urgency] || words}`);
}

/** The symbol alone, for the row of axes; the words beside it are for screen readers. */
export function verdictSign(verdict) {
  const [mark, sign, words] = VERDICTS[verdict] || ["none", "–", "No reading yet"];
  return el(`span.verdict.${mark}`, {}, el("span", { "aria-hidden": "true" }, sign), el("span.hidden", {}, words));
}

export function axisCard({ job, axis, records, graded, safety, plan, refresh }) {
  const described = [MOTORS[axis.motor_kind] || axis.motor_kind, axis.rated_voltage && `${axis.rated_voltage} V`, axis.winding_c && `winding ${axis.winding_c} °C`, axis.moving_cable ? "cable in a moving carrier" : null];
  return el("section.card.axis", { id: `axis-${axis.name}`, "aria-label": `Axis ${axis.name}`, tabindex: "-1" },
    el("header", {}, el("h2", {}, `Axis ${axis.name}`), verdictTag(graded && graded.verdict, graded && graded.urgency)),
    el("p.soft", {}, described.filter(Boolean).join(", ")),
    axis.said && /^[A-Z]$|^SPINDLE$/.test(axis.name) ? null : el("p.soft", {}, `Say “${axis.said}”.`),
    graded ? found(graded) : null,
    safety ? safetyPart(job, axis, safety, refresh) : null,
    records.length ? el("ul.readings", {}, records.map((r) => reading(r, { job, graded, refresh }))) : el("p.soft", {}, "No reading confirmed yet."),
    graded && graded.next_steps.length ? [el("h3", {}, "Next"), el("ol.steps", {}, graded.next_steps.map((s) => el("li", {}, el("strong", {}, s.action), " ", el("span.soft", {}, s.reason))))] : null,
    plan ? planPart(axis, plan) : null,
    graded && graded.findings.length ? findings(graded) : null);
}

function found(graded) {
  const figures = graded.headline_figures;
  return [el("p.headline", {}, graded.headline_found), figures ? el("p.soft", {}, figures) : null, el("p.soft", {}, graded.drive.statement)];
}

function reading(record, { job, graded, refresh }) {
  const own = graded ? graded.findings.filter((f) => f.limit && f.record_ids.length === 1 && f.record_ids[0] === record.id) : [];
  const worst = own[0];
  const gone = record.status !== "current";
  const value = record.display || shown(record);
  return el("li", { "data-record": record.id },
    el("div", {},
      gone ? el("s.shown", {}, value) : el("span.shown", {}, value), " ",
      !gone && worst ? verdictTag(worst.verdict, worst.urgency) : null,
      el("div", {}, [KINDS[record.kind], SECTIONS[record.section], point(record.terminals)].filter(Boolean).join(", ")),
      el("div.soft", {}, [conditions(record), `${record.id}, confirmed by ${record.confirmed_by}, ${clock(record.confirmed_at)}`].filter(Boolean).join(" · ")),
      record.note ? el("div.soft", {}, record.note) : null,
      gone ? el("div.soft", {}, record.status === "superseded" ? "Replaced by a later record." : "Withdrawn.") : null),
    proofs(record, true),
    gone ? null : changes(record, job, refresh));
}

/** Correct a record or withdraw it: both are new entries, the old one stays. */
function changes(record, job, refresh) {
  const act = async (path, body, words) => {
    try {
      const sent = await send(job.id, path, body, `${record.id}: ${path.endsWith("withdraw") ? "withdraw" : "correct"}`);
      dropDraft(draft);
      say(sent.waiting ? "Kept here; sent when the server is back." : words);
    } catch (error) { say(error.message, "error"); }
    await refresh();
  };
  const draft = `${record.id}.correct`;
  const form = readingForm(record, job, (after) => act(`/api/jobs/${encodeURIComponent(job.id)}/typed`,
    { ...changed(record, after), supersedes: record.id }, "Read the new value, then confirm it. The old one stays on file."), true);
  const begun = keepDraft(form, draft);
  form.hidden = !begun;
  const back = el("button.warn", { type: "button", onclick: () => {
    if (back.dataset.sure) act(`/api/records/${encodeURIComponent(record.id)}/withdraw`, {}, `${record.id} is withdrawn. It stays on file.`);
    back.dataset.sure = "yes";
    back.textContent = "Press again to withdraw it";
  } }, "Withdraw");
  return el("details.changes", { id: `changes-${record.id}`, open: begun }, el("summary", {}, "Wrong?"),
    el("div.row", {}, el("button", { type: "button", onclick: () => { form.hidden = !form.hidden; } }, "Correct"), back), form);
}

function findings(graded) {
  const shownFindings = graded.findings.filter((f) => f.urgency !== "information");
  return el("details", { id: `findings-${graded.axis}` }, el("summary", {}, `Findings (${graded.findings.length})`),
    el("ul.findings", {}, (shownFindings.length ? shownFindings : graded.findings).map((f) => el("li", { "data-rule": f.rule },
      el("p", {}, verdictTag(f.verdict, f.urgency), " ", f.statement),
      el("p.soft", {}, [f.limit ? f.limit.cited : null, f.record_ids.length ? `from ${f.record_ids.join(", ")}` : null].filter(Boolean).join(" · ")),
      f.recommendation ? el("p.soft", {}, f.recommendation) : null))));
}

function safetyPart(job, axis, safety, refresh) {
  const open = safety.open.length;
  const reply = async (step, answer, value) => {
    try {
      const body = { step: step.id, answer, how: "tapped", ...(value ? { value } : {}) };
      const sent = await send(job.id, safetyPath(job, axis.name), body, `${axis.name}: ${step.question} ${answer}`);
      if (sent.waiting) say("Kept here; sent when the server is back.");
    } catch (error) { say(error.message, "error"); }
    await refresh(`safety-${axis.name}`);
  };
  return el("details.safety", { id: `safety-${axis.name}` },
    el("summary", {}, open ? el("span.open-count", {}, `${open} safety ${open === 1 ? "question" : "questions"} open: no insulation value is recorded before`) : "Safety questions answered"),
    el("ul", {}, safety.steps.map((step) => question(step, reply))),
    el("p.soft", {}, safety.after_test));
}

function question(step, send) {
  const given = step.answer && step.answer.answer;
  const field = step.value_unit ? el("input", { inputmode: "decimal", "aria-label": `Measured, ${step.value_unit}`, placeholder: `measured, ${step.value_unit}`, value: (step.answer && step.answer.value) || "" }) : null;
  const button = (answer, words) => el(`button${given === answer ? ".chosen" : ""}`, { type: "button", "aria-pressed": String(given === answer), onclick: () => send(step, answer, field && field.value.trim()) }, words);
  return el("li", { "data-step": step.id },
    el("div.place", {}, `${step.met ? "✓ " : ""}${step.question}`),
    el("div.soft", {}, `${step.why} ${step.source}.`),
    el("div.row", {}, field, button("yes", "Yes"), button("no", "No"), step.may_not_apply ? button("not_applicable", "Does not apply") : null));
}
