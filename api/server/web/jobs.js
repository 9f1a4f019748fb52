// The list of jobs with what is left in each, and the form for a new one.

import { el, fill } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { JobForm, shownForm } from "./job-form.js";
import { ownId } from "./outbox.js";
import { look } from "./seen.js";
import { sendNow } from "./server.js";
import { clock } from "./words.js";

const SEARCH_MS = 250;
export const STATES = { open: "open", closed: "closed", archived: "archived" };

/** What is left of a job, in a line. */
function left(job) {
  const waiting = job.waiting ? `${job.waiting} ${job.waiting === 1 ? "value waits" : "values wait"} for your yes` : "";
  const unknown = job.axes.filter((axis) => axis.motor_kind === "unknown").map((axis) => axis.name);
  const kinds = unknown.length && job.state === "open" ? `kind of motor not known yet: ${unknown.join(", ")}` : "";
  const points = Object.entries(job.left || {}).map(([name, count]) => `${name} ${count}`);
  const plan = job.state !== "open" ? "" : points.length ? `test points left: ${points.join(", ")}` : "every axis has been through its plan";
  return [waiting, plan, kinds].filter(Boolean).join(" · ");
}

function item(job) {
  return el("li", { "data-job": job.id, "data-state": job.state }, el("a", { href: `#/jobs/${encodeURIComponent(job.id)}` },
    el("strong", {}, job.title),
    el("span.soft", {}, el("span.tag", {}, STATES[job.state] || job.state), " ", [job.id, job.customer, job.machine, job.serial && `serial ${job.serial}`, clock(job.created_at).slice(0, 10)].filter(Boolean).join(" · ")),
    el("span.left", {}, left(job))),
  el("a.button.about", { href: `#/about/${encodeURIComponent(job.id)}`, "aria-label": `Details of ${job.id}` }, "Details"));
}

export async function jobsView(main, where) {
  where.textContent = "Jobs";
  const list = el("ul.jobs", { id: "jobs" });
  const told = el("p.soft", { role: "status", id: "found" });
  const words = el("input.look", { id: "search", type: "search", autocomplete: "off", placeholder: "machine, customer, date, axis, serial", "aria-label": "Find jobs by machine, customer, date, axis or serial number" });
  const archived = el("input.look", { type: "checkbox", id: "archived" });
  let asked = 0;
  const draw = async () => {
    const mine = (asked += 1);
    const typed = words.value.trim();
    const query = new URLSearchParams({ ...(typed ? { q: typed } : {}), ...(archived.checked ? { archived: "true" } : {}) });
    const jobs = await look(`/api/jobs${query.size ? `?${query}` : ""}`);
    if (mine !== asked) return; // a later question was asked meanwhile
    fill(list, jobs.map(item));
    told.textContent = jobs.length ? "" : typed ? "No job holds all of these words." : "No job yet. Make one: it needs the machine, the customer, your name and an axis.";
  };
  let timer = 0;
  words.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(() => draw().catch((error) => { told.textContent = error.message; }), SEARCH_MS); });
  archived.addEventListener("change", () => draw().catch((error) => { told.textContent = error.message; }));
  await draw();
  fill(main,
    el("div.row", {}, el("h1", {}, "Jobs"), el("a.button.main.control", { href: "#/new" }, "New job")),
    el("div.find", {}, words, el("label", {}, archived, " Show archived jobs")), told, list);
}

const ROWS = "ohmtrail.rows";
const SENDING = "ohmtrail.making";

function keep(name, value) {
  try { localStorage.setItem(name, JSON.stringify(value)); } catch { /* full or private: it lasts until reload */ }
}

function kept(name, otherwise) {
  try { return JSON.parse(localStorage.getItem(name)) || otherwise; } catch { return otherwise; }
}

/** The id under which this job is made: the same however often it is sent, another once something else is typed. */
function idOf(body) {
  const before = kept(SENDING, {});
  if (before.body === body && before.id) return before.id;
  const id = ownId();
  keep(SENDING, { id, body });
  return id;
}

export async function newJobView(main, where) {
  where.textContent = "New job";
  const form = new JobForm(await look("/api/profiles"));
  const button = el("button.main", { type: "submit" }, "Make the job");
  let made = false;
  const create = async (description) => {
    if (button.disabled || made) return;
    button.disabled = true;
    const body = JSON.stringify(description);
    try {
      const job = await sendNow("/api/jobs", body, idOf(body));
      made = true;
      dropDraft("new");
      keep(ROWS, [1, 0]);
      keep(SENDING, {});
      location.hash = `#/jobs/${encodeURIComponent(job.id)}`;
    } catch (error) { form.complain(error); } finally { button.disabled = false; }
  };
  const load = async (event) => {
    const file = event.target.files[0];
    event.target.value = "";
    if (!file) return;
    let description = null;
    try { description = JSON.parse(await file.text()); } catch { form.complain(new Error("That file is no job description. Choose a JSON file that describes a job.")); }
    if (description !== null) await create(description);
  };
  const node = shownForm(form, () => create(form.description()),
    el("div.row", {}, button, el("label.button", {}, "Load a job file", el("input", { type: "file", accept: "application/json,.json", onchange: load }))));
  // Rows that were added before a reload come back first: as many as make the number of fields that were kept.
  keepDraft(node, "new", () => {
    const [axisCount, instrumentCount] = kept(ROWS, [1, 0]);
    while (form.axes.children.length < axisCount) form.addAxis();
    while (form.instruments.children.length < instrumentCount) form.addInstrument();
  });
  node.addEventListener("input", () => keep(ROWS, [form.axes.children.length, form.instruments.children.length]));
  fill(main, el("h1", {}, "New job"), el("p.soft", {}, "Four fields are needed; everything else can be added and corrected later."), node);
}
