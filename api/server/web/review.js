// The review: what waits for its yes, doubts first, one value at a time, each answer one key or one tap.

import { learnRole, onlyLooks, onlyLooksCard } from "./devices.js";
import { el, fill, say } from "./dom.js";
import { DropZone } from "./drop.js";
import { changed, readingForm } from "./form.js";
import { proofs } from "./proof.js";
import { movedWith, otherJobs, placeLabel, placesFor, stretchOf } from "./review-places.js";
import { SafetyKeys } from "./review-safety.js";
import { get, now, post } from "./server.js";
import { DOUBTS, KINDS, LOOK_AGAIN, SECTIONS, UNITS, UNIT_DOUBTS, USUAL_UNITS, clock, conditions, notes, place, shown } from "./words.js";

const MEASURED = ["insulation_resistance", "resistance_to_ground", "winding_resistance", "continuity"];

class Review {
  constructor(job, node) {
    this.job = job;
    this.path = `/api/jobs/${encodeURIComponent(job.id)}`;
    this.queue = [];
    this.at = 0;
    this.jobs = null; // the other jobs, while it is asked to which one the value in focus belongs
    this.pressed = 0; // keys and taps that answered something: shown, and measured
    this.focus = el("section.card.focus", { id: "focus", "aria-live": "polite" });
    this.list = el("ol");
    this.count = el("p.soft", { id: "count" });
    this.safety = new SafetyKeys(this.path, () => this.draw());
    fill(node, el("h1", {}, `Review: ${job.title}`), new DropZone(() => this.load()).node,
      el("div.review", {}, this.focus, el("aside.card.waiting", { "aria-label": "What waits" }, this.count, this.list)));
    document.addEventListener("keydown", (event) => this.key(event));
  }

  /** Ask for what waits; what asks something comes first, each group in the order of time. */
  async load() {
    const open = await get(`${this.path}/proposals?state=open`);
    const time = (p) => Date.parse(p.captured_at);
    this.queue = open.sort((a, b) => (b.doubts.length > 0) - (a.doubts.length > 0) || time(a) - time(b));
    this.at = 0;
    this.draw();
  }

  get proposal() { return this.queue[this.at]; }

  draw() {
    this.count.textContent = `${this.queue.length} to look at`;
    fill(this.list, this.queue.map((p, i) => el(`li${p.doubts.length ? ".asks" : ""}`, { "aria-current": i === this.at ? "true" : null, onclick: () => this.go(i) }, `${place(p)}: ${p.display || shown(p)}`)));
    if (this.safety.asks) { fill(this.focus, this.safety.node()); return; }
    const p = this.proposal;
    if (!p) { fill(this.focus, el("h2", {}, "Nothing waits"), el("p", {}, "Every value of this job has its answer."), el("a.button", { href: `/#/jobs/${encodeURIComponent(this.job.id)}` }, "To the job")); return; }
    this.offered = this.jobs ? this.moves(p) : this.offers(p);
    const doubts = p.doubts.map((d) => el("li", {}, DOUBTS[d] || d));
    this.form = readingForm(p, this.job, (reading) => this.act("correct", { reading: changed(p, reading) }), true);
    fill(this.focus,
      el("p.place", {}, place(p)),
      el("p.soft", {}, [KINDS[p.kind] || "Quantity not said", conditions(p), clock(p.captured_at)].filter(Boolean).join(", ")),
      el("p.value", { "data-proposal": p.id }, p.display || shown(p)),
      doubts.length ? el("ul.doubts", {}, doubts) : null,
      p.heard_text ? el("p.soft", {}, `Heard: “${p.heard_text}”`) : null,
      p.seen_text ? el("p.soft", {}, `Seen: “${p.seen_text}”`) : null,
      proofs(p, false),
      el("div.offers", {}, this.offered.map((offer, i) => el("button", { type: "button", onclick: () => this.offer(i) }, el("kbd", {}, String(i + 1)), offer.label))),
      this.form,
      el("div.keys", {}, this.button("Enter", "Confirm", () => this.confirm(), p.doubts.length > 0, "main"), this.button("P", "Play", () => this.play()),
        this.button("C", "Correct", () => this.correct()), this.button("S", "Skip", () => this.skip()), this.button("M", "Move", () => this.otherJob()), this.button("X", "Reject", () => this.act("reject", {}), false, "warn")));
  }

  button(key, words, run, disabled = false, kind = "") {
    return el(`button${kind ? `.${kind}` : ""}`, { type: "button", disabled, onclick: run, "data-key": key }, el("kbd", {}, key), words);
  }

  /** What can be answered with a digit: another value, a unit, an axis, a part, a quantity, or that it was looked at again. */
  offers(p) {
    const lacks = (doubt) => p.doubts.includes(doubt);
    const set = (field, value, label) => ({ label, action: "correct", body: { reading: { [field]: value } } });
    if (lacks("place_unsure")) return this.places(p);
    if (lacks("notes_unsure")) {
      const noted = (circumstances, position, label) => ({ label, action: "correct", body: { reading: { circumstances, position: position || null } } });
      return [noted(p.circumstances, p.position, `Yes: ${notes(p)}`), noted([], null, "No: note nothing beside it")];
    }
    const found = [];
    const settled = p.doubts.length && p.doubts.every((d) => LOOK_AGAIN.includes(d) || ["teen_or_ty", "conflict", "unknown_words", "prefix_unsure", "unit_unsure"].includes(d)) && p.value !== null;
    if (settled) found.push({ label: `It is ${p.display}`, action: "choose", body: { index: 0 } });
    const others = (p.choices || []).slice(1);
    const where = (c) => (c.reading.axis !== p.axis || c.reading.section !== p.section || c.reading.terminals !== p.terminals ? `${place(c.reading)}, ` : "");
    for (const c of others) found.push({ label: `${where(c)}${c.display}`, action: "choose", body: { index: c.index } });
    if (p.doubts.some((d) => UNIT_DOUBTS.includes(d)) && p.value !== null) for (const u of USUAL_UNITS[p.kind] || USUAL_UNITS.null) found.push(set("unit", u, UNITS[u]));
    if (lacks("axis_missing")) for (const a of this.job.axes) found.push(set("axis", a.name, `Axis ${a.name}`));
    else if (lacks("section_missing")) for (const [value, label] of Object.entries(SECTIONS)) found.push(set("section", value, label));
    else if (lacks("quantity_missing")) for (const k of MEASURED) found.push(set("kind", k, KINDS[k]));
    return found.slice(0, 9);
  }

  /** Where the whole stretch may stand: asked before anything else, since one key settles it for all of its values. */
  places(p) {
    const stretch = stretchOf(this.queue, p);
    return placesFor(this.job, p).map((where) => ({ label: placeLabel(where, stretch.length), place: where, stretch }));
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    const typing = event.target.closest && event.target.closest("input, select, textarea");
    if (typing) { if (event.key === "Escape") event.target.blur(); return; }
    const name = event.key.toLowerCase();
    if (this.safety.asks) { if (this.safety.key(name)) { this.pressed += 1; event.preventDefault(); } return; }
    const pressedButton = event.target.closest && event.target.closest("button, a, summary");
    if (pressedButton && (name === "enter" || name === " ")) return; // the focused button itself
    const run = { enter: () => this.confirm(), y: () => this.confirm(), p: () => this.play(), " ": () => this.play(), c: () => this.correct(), s: () => this.skip(), m: () => this.otherJob(), escape: () => this.go(this.at), x: () => this.act("reject", {}), arrowdown: () => this.go(this.at + 1), arrowup: () => this.go(this.at - 1) }[name]
      || (/^[1-9]$/.test(name) && this.offered && this.offered[Number(name) - 1] ? () => this.offer(Number(name) - 1) : null);
    if (!run || !this.proposal) return;
    event.preventDefault();
    this.pressed += 1;
    run();
  }

  go(index) {
    if (index < 0 || index >= this.queue.length) return;
    this.at = index;
    this.jobs = null;
    this.draw();
  }

  skip() {
    this.jobs = null;
    this.queue.push(...this.queue.splice(this.at, 1));
    this.at = Math.min(this.at, this.queue.length - 1);
    this.draw();
  }

  play() {
    const button = this.focus.querySelector("button.play");
    if (button) button.click(); else say("There is no clip of this value.");
  }

  correct() {
    this.form.hidden = false;
    this.form.querySelector("input").focus();
    this.form.querySelector("input").select();
  }

  confirm() {
    if (this.proposal.doubts.length) { say("Settle the question first: a digit, or C to correct."); return; }
    this.act("confirm", {});
  }

  offer(index) {
    const offer = this.offered[index];
    if (offer.to) this.move(offer);
    else if (offer.place) this.settle(offer); else this.act(offer.action, offer.body);
  }

  /** Offer the other open jobs: a machine that was not heard leaves its values under the one before. */
  async otherJob() {
    if (this.jobs) { this.go(this.at); return; }
    const jobs = otherJobs(await get("/api/jobs"), this.job);
    if (!jobs.length) { say("There is no other open job. Make it on the page of jobs, then move the value."); return; }
    this.jobs = jobs;
    this.draw();
    say("To which job does it belong? M again leaves it here.");
  }

  moves(p) {
    const values = movedWith(this.queue, p);
    return this.jobs.map((job) => ({ label: `${values.length > 1 ? `All ${values.length}` : "It"}: to ${job.id}, ${job.machine}`, to: job, values }));
  }

  /** Move values to another job; one that cannot be moved stays. */
  async move({ to, values }) {
    if (this.busy) return;
    this.busy = true;
    try {
      for (const p of values) await post(`/api/proposals/${encodeURIComponent(p.id)}/move`, { job_id: to.id, revision: p.revision, captured_at: now() });
      say(`Moved to ${to.id}, ${to.machine}: confirm there.`);
    } catch (error) { say(error.message, "error"); }
    this.busy = false;
    this.jobs = null;
    await this.load();
  }

  /** Tell every value of a stretch where it stands; one that cannot be told stays as it is, and is asked about again. */
  async settle({ place: where, stretch }) {
    if (this.busy) return;
    this.busy = true;
    const focus = this.proposal.id;
    try {
      for (const p of stretch) await post(`/api/proposals/${encodeURIComponent(p.id)}/correct`, { reading: where, revision: p.revision, how: "tapped", captured_at: now() });
      say(`${placeLabel(where, stretch.length)}. Now confirm ${stretch.length > 1 ? "each" : "it"}.`);
    } catch (error) { say(error.message, "error"); }
    this.busy = false;
    const open = await get(`${this.path}/proposals?state=open`);
    this.queue = this.queue.map((p) => open.find((one) => one.id === p.id)).filter(Boolean);
    this.at = Math.max(0, this.queue.findIndex((p) => p.id === focus));
    this.draw();
  }

  /** Send an answer; what is settled leaves, what changed stays in focus to be confirmed. */
  async act(action, body) {
    const p = this.proposal;
    if (!p || this.busy) return;
    this.busy = true;
    this.jobs = null;
    try {
      await post(`/api/proposals/${encodeURIComponent(p.id)}/${action}`, { ...body, revision: p.revision, how: "tapped", captured_at: now() });
      if (action === "confirm" || action === "reject") this.queue.splice(this.at, 1);
      else this.queue[this.at] = (await get(`${this.path}/proposals?state=open`)).find((one) => one.id === p.id) || p;
      this.at = Math.max(0, Math.min(this.at, this.queue.length - 1));
      say(action === "confirm" ? `Recorded: ${p.display}.` : action === "reject" ? "Rejected. Clip and photo are kept." : "Changed. Now confirm it.");
      this.draw();
    } catch (error) {
      if (error.code === "safety_open") await this.safety.open(p.axis);
      else { say(error.message, "error"); if (error.code !== "in_doubt") await this.load(); }
      this.draw();
    } finally { this.busy = false; }
  }
}

async function show() {
  const main = document.getElementById("main");
  const id = decodeURIComponent(location.hash.replace(/^#/, ""));
  try {
    const [job] = await Promise.all([get(`/api/jobs/${encodeURIComponent(id)}`), learnRole()]);
    if (onlyLooks()) { fill(main, onlyLooksCard()); return; }
    document.getElementById("where").textContent = `${job.id} · ${job.title}`;
    document.getElementById("back").href = `/#/jobs/${encodeURIComponent(job.id)}`;
    const review = new Review(job, main);
    window.review = review;
    await review.load();
  } catch (error) {
    fill(main, el("div.card", {}, el("h1", {}, "That did not work"), el("p", {}, error.message), el("a.button", { href: "/" }, "To the list of jobs")));
  }
}

show();
