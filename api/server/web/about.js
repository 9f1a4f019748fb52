// All about one job: what is on record of it and how that changed, its plates, whether it is open; and the way to correct it.

import { dischargePart } from "./dialogue.js";
import { el, fill, say } from "./dom.js";
import { JobForm, LABELS, shownForm } from "./job-form.js";
import { STATES } from "./jobs.js";
import { ownId } from "./outbox.js";
import { look } from "./seen.js";
import { contentUrl, get, now, post, sendNow, sendForm } from "./server.js";
import { MOTORS, clock } from "./words.js";

const MOVES = {
  open: [["close", "Close the job", "A closed job takes no readings, answers or changes until it is reopened."]],
  closed: [["reopen", "Reopen the job", "Then readings and corrections are taken again."], ["archive", "Archive the job", "It leaves the list; the switch there shows it."]],
  archived: [["restore", "Bring it back", "It is closed then, and can be reopened."]],
};
const DONE = { edited: "corrected", added: "added", withdrawn: "withdrawn", reinstated: "reinstated", closed: "closed", reopened: "reopened", archived: "archived", restored: "brought back" };

const value = (name, given) => (given === null || given === undefined || given === "" ? "nothing" : name === "motor_kind" ? MOTORS[given] || given : typeof given === "object" ? JSON.stringify(given) : given === true ? "yes" : given === false ? "no" : String(given));

/** One change in words: what, before and after. */
function changeItem(job, change) {
  const part = change.subject === "job" ? "" : change.subject === "axis" ? `Axis ${([...job.axes, ...(job.withdrawn_axes || [])].find((a) => a.id === change.subject_id) || {}).name || change.subject_id}` : `Instrument ${(job.instruments.find((i) => i.id === change.subject_id) || {}).label || change.subject_id}`;
  const fields = change.action === "edited" ? Object.keys(change.after).map((name) => el("li", {}, `${LABELS[name] || name}: ${value(name, change.before[name])} → ${value(name, change.after[name])}`)) : [];
  return el("li", { "data-change": change.id }, el("span.place", {}, `${part || "The job"} ${DONE[change.action] || change.action}`), el("span.soft", {}, ` ${clock(change.at)}, ${change.by}${change.reason ? `: ${change.reason}` : ""}`),
    fields.length ? el("ul", {}, fields) : null);
}

/** A plate or logo with its picture, and the ways to change it. */
function platePart(job, path, words, use, subject, picture, refresh) {
  const problem = el("p.problem", { role: "alert" });
  const name = subject ? `${words} ${subject}` : words;
  const choose = async (event) => {
    const file = event.target.files[0];
    event.target.value = "";
    if (!file) return;
    problem.textContent = "Storing…";
    try {
      await sendForm(`${path}/pictures`, { file, use, subject, captured_at: now() });
      await refresh();
      say(`${name}: kept as evidence.`);
    } catch (error) { problem.textContent = error.message; }
  };
  const away = async () => {
    try { await post(`${path}/pictures/away`, { use, subject }); await refresh(); } catch (error) { problem.textContent = error.message; }
  };
  const shown = picture && (picture.shown_sha256 || picture.sha256);
  return el("li.plate", { "data-use": use, "data-subject": subject },
    shown ? el("a", { href: contentUrl(picture.sha256), target: "_blank", rel: "noopener" }, el("img", { src: contentUrl(shown), alt: `${name}, photo`, loading: "lazy" })) : el("span.no-plate", {}, "no photo"),
    el("div", {}, el("strong", {}, name), picture ? el("p.soft", {}, `${picture.by}, ${clock(picture.captured_at)}`) : null, problem,
      job.state === "open" ? el("div.row.control", {}, el("label.button", {}, picture ? "Another" : use === "logo" ? "Choose a file" : "Photo", el("input", { type: "file", accept: use === "logo" ? "image/png,image/jpeg" : "image/*", ...(use === "logo" ? {} : { capture: "environment" }), "aria-label": name, onchange: choose })),
        picture ? el("button", { type: "button", onclick: away }, "Take it away") : null) : null));
}

/** Axes that were added by mistake: withdrawn while they have no readings, and reinstated. */
function mistakenAxes(job, path, refresh) {
  const gone = job.withdrawn_axes || []; // what an older page kept knows none
  if (job.state !== "open" || (job.axes.length < 2 && !gone.length)) return null;
  const problem = el("p.problem", { role: "alert" });
  const reason = el("input", { maxlength: 400, autocomplete: "off" });
  const act = async (axis, what, done) => {
    try {
      await sendNow(`${path}/axes/${encodeURIComponent(axis.name)}/${what}`, JSON.stringify({ reason: reason.value.trim(), captured_at: now() }), ownId());
      await refresh();
      say(`Axis ${axis.name} ${done}.`);
    } catch (error) { problem.textContent = error.message; }
  };
  const button = (axis, what, words, done) => el("button", { type: "button", "data-axis": axis.name, onclick: () => act(axis, what, done) }, `${words} axis ${axis.name}`);
  return el("details.more.control", { id: "mistaken" }, el("summary", {}, "An axis was added by mistake"),
    el("p.soft", {}, "An axis without readings is withdrawn: it leaves plan and report, and this page keeps it. One with readings stays; it can be renamed."),
    el("label.field", {}, "Why (may be empty)", reason), problem,
    el("div.row", {}, job.axes.length > 1 ? job.axes.map((axis) => button(axis, "withdraw", "Withdraw", "is withdrawn")) : null, gone.map((axis) => button(axis, "reinstate", "Reinstate", "counts again"))));
}

function statePart(job, path, refresh) {
  const problem = el("p.problem", { role: "alert" });
  const reason = el("input", { id: "reason", maxlength: 400, autocomplete: "off" });
  const move = async (name) => {
    try {
      await sendNow(`${path}/state`, JSON.stringify({ move: name, reason: reason.value.trim(), captured_at: now() }), ownId());
      await refresh();
    } catch (error) { problem.textContent = error.message; }
  };
  return el("section.card", { id: "state", "data-state": job.state }, el("h2", {}, `This job is ${STATES[job.state] || job.state}`),
    el("div.control", {}, el("label.field", {}, "Why (may be empty)", reason), problem,
      (MOVES[job.state] || []).map(([name, words, means]) => el("div", {}, el("p.soft", {}, means), el("button", { type: "button", "data-move": name, onclick: () => move(name) }, words)))));
}

function facts(pairs) {
  return el("dl.facts", {}, pairs.filter(([, given]) => given).map(([label, given]) => el("div", {}, el("dt", {}, label), el("dd", {}, given))));
}

export async function aboutView(main, where, id) {
  const path = `/api/jobs/${encodeURIComponent(id)}`;
  const discharge = await dischargePart(await look(path), path);
  const draw = async () => {
    const [job, given, pictures] = await Promise.all([look(path), look(`${path}/description`), look(`${path}/pictures`)]);
    where.textContent = `${job.id} · ${job.title}`;
    const whole = given.description;
    const of = (use, key) => pictures.find((one) => one.use === use && one.subject_id === key);
    const plate = (words, use, subject, key) => platePart(job, path, words, use, subject, of(use, key), draw);
    fill(main, discharge,
      el("div.row", {}, el("h1", {}, job.title), el("a.button", { href: `#/jobs/${encodeURIComponent(id)}` }, "To the readings"), job.state === "open" ? el("a.button.main.control", { href: `#/edit/${encodeURIComponent(id)}` }, "Correct or add") : null),
      el("section.card", {}, el("h2", {}, "On record"), facts(["machine", "serial", "customer", "customer_contact", "site", "technician", "company", "contact", "alarm_text", "air_c", "humidity_percent"].map((name) => [LABELS[name], whole[name]])),
        el("h3", {}, "Axes"), el("ul.parts", {}, job.axes.map((axis) => el("li", { "data-axis": axis.name }, el("strong", {}, axis.name), " ",
          axis.motor_kind === "unknown" ? el("span.wanted", {}, "Which kind of motor is it? Until that is known, its plan holds what every kind has.") : MOTORS[axis.motor_kind] || axis.motor_kind,
          axis.plate ? `, ${axis.plate}` : ""))), mistakenAxes(job, path, draw),
        el("h3", {}, "Instruments"), job.instruments.length ? el("ul.parts", {}, job.instruments.map((one) => el("li", {}, el("strong", {}, one.label), ` ${[one.serial && `serial ${one.serial}`, one.certificate && `certificate ${one.certificate}${one.certificate_date ? ` of ${one.certificate_date}` : ""}`, one.calibration_due && `due ${one.calibration_due}`].filter(Boolean).join(", ") || "no serial number or certificate yet"}`))) : el("p", {}, "None yet.")),
      el("section.card", {}, el("h2", {}, "Plates and logo"), el("p.soft", {}, "Photos of plates are evidence, shown in the report; they are never read as a display."),
        el("ul.plates", {}, plate("Machine's plate", "machine_plate", "", job.id), job.axes.map((axis) => plate("Motor of axis", "motor_plate", axis.name, axis.id)), job.instruments.map((one) => plate("Instrument", "instrument_plate", one.label, one.id)), plate("Logo for the report", "logo", "", job.id))),
      statePart(job, path, draw),
      el("section.card", { id: "history" }, el("h2", {}, "What was changed"), job.changes.length ? el("ol.history", {}, job.changes.map((change) => changeItem(job, change))) : el("p", {}, "Nothing since it was made."), el("p.soft", {}, "Every change is an entry of the audit trail.")));
  };
  await draw();
}

export async function editView(main, where, id) {
  const path = `/api/jobs/${encodeURIComponent(id)}`;
  where.textContent = `${id} · correct`;
  const [given, profiles, discharge] = await Promise.all([get(`${path}/description`), look("/api/profiles"), look(path).then((job) => dischargePart(job, path))]);
  const form = new JobForm(profiles, given);
  const reason = el("input", { name: "reason", maxlength: 400, autocomplete: "off", placeholder: "read from the nameplate" });
  const button = el("button.main", { type: "submit" }, "Save the correction");
  let sending = { body: "", id: "" };
  const save = async () => {
    if (button.disabled) return;
    button.disabled = true;
    const body = { description: form.description(), ...form.ids(), revision: given.revision, reason: reason.value.trim() };
    if (sending.body !== JSON.stringify(body)) sending = { body: JSON.stringify(body), id: ownId(), at: now() };
    try {
      await sendNow(`${path}/description`, JSON.stringify({ ...body, captured_at: sending.at }), sending.id);
      location.hash = `#/about/${encodeURIComponent(id)}`;
    } catch (error) { form.complain(error); } finally { button.disabled = false; }
  };
  const back = el("a.button", { href: `#/about/${encodeURIComponent(id)}` }, "Leave it as it is");
  fill(main, discharge, el("h1", {}, `Correct ${id}`), el("p.soft", {}, "What was before stays in the trail, with who changed it and when. Readings stay with their axis, also under another name. An axis added by mistake is withdrawn on the page before."),
    shownForm(form, save, el("label.field", {}, "Why (may be empty)", reason), el("div.row", {}, button, back)));
}
