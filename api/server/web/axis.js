// One axis: its verdict, the safety questions, its readings with their evidence, and what follows from them.

import { changes } from "./corrections.js";
import { el, say } from "./dom.js";
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

/** What an axis has in one line, folded: readings, what is left, whether its safety questions are open. */
function summary(records, safety, plan) {
  const count = records.filter((r) => r.status === "current").length;
  const left = plan ? plan.tasks.filter((t) => t.state === "next" || t.state === "due").length : 0;
  const open = safety ? safety.open.length : 0;
  return [`${count} ${count === 1 ? "reading" : "readings"}`, left ? `${left} ${left === 1 ? "point" : "points"} left` : "plan done", open ? `${open} safety questions open` : "safety questions answered"].join(" · ");
}

/** An axis, folded to its name and state; `fold` is told when the person opens or closes it. */
export function axisCard({ job, axis, records, graded, safety, plan, refresh, fold }) {
  const described = [MOTORS[axis.motor_kind] || axis.motor_kind, axis.rated_voltage && `${axis.rated_voltage} V`, axis.winding_c && `winding ${axis.winding_c} °C`, axis.moving_cable ? "cable in a moving carrier" : null];
  const detail = el("div.detail", { id: `detail-${axis.name}`, hidden: true },
    el("p.soft", {}, described.filter(Boolean).join(", ")),
    axis.said && /^[A-Z]$|^SPINDLE$/.test(axis.name) ? null : el("p.soft", {}, `Say “${axis.said}”.`),
    graded ? found(graded) : null,
    safety ? safetyPart(job, axis, safety, refresh) : null,
    records.length ? el("ul.readings", {}, records.map((r) => reading(r, { job, graded, refresh }))) : el("p.soft", {}, "No reading confirmed yet."),
    graded && graded.next_steps.length ? [el("h3", {}, "Next"), el("ol.steps", {}, graded.next_steps.map((s) => el("li", {}, el("strong", {}, s.action), " ", el("span.soft", {}, s.reason))))] : null,
    plan ? planPart(axis, plan) : null,
    graded && graded.findings.length ? findings(graded) : null);
  const name = el("button.fold", { type: "button", "aria-expanded": "false", "aria-controls": `detail-${axis.name}`, onclick: () => fold(detail.hidden) }, `Axis ${axis.name}`);
  const card = el("section.card.axis", { id: `axis-${axis.name}`, "data-axis": axis.name, "aria-label": `Axis ${axis.name}` },
    el("header", {}, el("h2", {}, name), verdictTag(graded && graded.verdict, graded && graded.urgency), el("p.soft.in-short", {}, summary(records, safety, plan))), detail);
  card.unfold = (open) => { detail.hidden = !open; name.setAttribute("aria-expanded", String(open)); };
  return card;
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
