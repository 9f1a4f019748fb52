// One job: everything that is said, tapped, taken and answered, and the places that show it.

import { axisCard } from "./axis.js";
import { attend } from "./attention.js";
import { awake } from "./awake.js";
import { Camera } from "./camera.js";
import { cornerTool } from "./corners.js";
import { correctRecord } from "./corrections.js";
import { DialoguePart, lockoutPart } from "./dialogue.js";
import { el, fill, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { changed, filledIn, readingForm } from "./form.js";
import { icon } from "./icons.js";
import { instrumentsPart } from "./instruments.js";
import { keypad } from "./keypad.js";
import { away, onLink } from "./link.js";
import { Listening } from "./listen.js";
import { Outbox, act } from "./outbox.js";
import { Places } from "./places.js";
import { proposalCard } from "./proposal.js";
import { SafetyCard } from "./questions.js";
import { canSpeak, mute, readBack, tone, wanted } from "./readback.js";
import { ReportPlace } from "./report.js";
import { look } from "./seen.js";
import { get, now } from "./server.js";
import { cautionList, settingsPart, withoutServerPart } from "./settings.js";
import { Sheet } from "./sheet.js";
import { Stage } from "./stage.js";
import { WaitingPart } from "./waiting.js";

const CAUTION = [
  "Insulation testing can kill: up to 1000 V, and the winding keeps its charge. Discharge at least four times the test time, measure, then earth, before anyone touches a terminal.",
  "Work dead, locked out and proved dead. Motor leads off the drive; encoder, brake and sensor leads out of the test; vertical axes supported.",
  "Local codes, the site's lock-out procedure and licensed practice come before anything on this page.",
];
const AT_REST = "What is said to others is not answered. Say a value, a place, or “resume listening”.";
const LOOK_EVERY_MS = 2000; // another phone, or the command line, may work on the same job

/**
 * Show a job.
 * @returns {Promise<{id: string, node: HTMLElement, close: () => void, show: (place: string, axis: string) => void}>} the view, which stays while only the place changes
 */
export async function jobView(main, where, id, place = "", axis = "") {
  const path = `/api/jobs/${encodeURIComponent(id)}`;
  const job = await look(path);
  if (!main.current()) return null; // somebody has gone on meanwhile
  const view = new JobView(job, path, where);
  view.show(place, axis);
  fill(main, view.node);
  await view.refresh();
  const timer = setInterval(() => { if (!document.hidden) view.look().catch(() => {}); }, LOOK_EVERY_MS);
  return { id, node: view.node, show: (another, one) => view.show(another, one), close: () => { clearInterval(timer); view.close(); } };
}

class JobView {
  constructor(job, path, where) {
    this.job = job;
    this.path = path;
    this.cards = new Map();
    this.opened = new Set(); // axes whose detail is open
    where.textContent = `${job.id} · ${job.title}`;
    this.words = "Press Speak, then say the axis, the part and the value.";
    const refresh = () => this.refresh();
    this.warnings = el("div", { id: "warnings", role: "alert" });
    this.marking = el("div", { id: "marking" });
    this.questions = new SafetyCard(job, refresh, () => { this.places.go("measure"); queueMicrotask(() => this.drawStage()); });
    this.unsent = new WaitingPart((key) => this.outbox.dismiss(key));
    this.outbox = new Outbox(job.id, (items, problem) => this.waiting(items, problem), (answer, item) => this.answered(answer, item), (answer) => { this.camera.tray.read(answer); this.says("working", answer.message); });
    this.dialogue = new DialoguePart(job, path, refresh);
    this.voiceless = el("p.refused", { id: "voiceless", role: "status" });
    this.camera = new Camera({ one: (file, name, kept) => { this.questions.passed = true; return this.send(file, name, kept); }, together: (files) => { this.questions.passed = true; return this.sendBurst(files); } });
    this.stage = new Stage(job, {
      confirm: () => this.current && this.current.answer("confirm", {}, `Confirmed: ${this.current.proposal.display}.`),
      reject: () => this.current && this.current.answer("reject", {}, "Rejected. The clip and photo are kept."),
      correct: () => this.correct(), type: () => this.type(), more: () => this.more.open(), photo: () => this.photo(),
    }, [this.warnings, this.dialogue.question, this.questions.node, this.unsent.room, this.unsent.count, this.unsent.refused, this.voiceless, this.marking]);
    this.axes = el("div", { id: "axes" });
    this.proposals = el("div", { id: "proposals" });
    this.report = new ReportPlace(job, path);
    this.places = new Places(job.id, {
      measure: this.stage.node,
      axes: el("section.axes-place", { "aria-label": "Axes" }, this.axes, lockoutPart(job, path, refresh), instrumentsPart(path)),
      check: el("section.check-place", { "aria-label": "To check" },
        el("div.row.check-head", {}, el("h2", {}, "To check"), el("a.button", { id: "review", href: `/page/review.html#${encodeURIComponent(job.id)}` }, icon("keys"), "Review with keys")), this.unsent.list, this.dialogue.queue, this.proposals),
      report: this.report.node,
    });
    this.linked = onLink((isAway) => { if (isAway && this.listening.on) this.questions.ask(); if (!isAway) this.refresh(); });
    this.listening = new Listening(job.id, (state) => this.hears(state), refresh, this.outbox, () => this.photo(), async () => (await this.questions.ask()) && (await this.dialogue.wake(), true));
    attend(this.stage.speak, this.listening);
    this.says("ready", this.words);
    this.sheet = new Sheet("sheet", "");
    this.typing = new Sheet("typing", "Type a reading", [this.typingForm()]);
    this.more = new Sheet("more-sheet", "More", [
      el("div.row", {}, el("button", { type: "button", onclick: () => { this.more.close(); this.type(); } }, icon("keys"), "Type a reading"),
        upload([icon("clip"), "Send a clip"], { accept: "audio/*", id: "clip" }, ([file]) => { this.more.close(); return this.send(file); }, this.questions)),
      el("label.tick", { for: "said-twice" }, this.dialogue.twice, " Confirm spoken values by saying them again (surer than a word)"),
      el("label.tick", { for: "rests" }, this.dialogue.rests, " Rest between readings: where nothing was asked or answered for half a minute, heed only what is sure"),
      settingsPart(), withoutServerPart(), cautionList(CAUTION)]);
    this.node = el("div.job", {}, el("div.alarms", {}, this.dialogue.discharge, this.caution()),
      el("h1", {}, job.title), el("p.soft.about", {}, [job.customer, job.machine, job.alarm_text].filter(Boolean).join(" · ")),
      Object.values(this.places.views), this.places.nav, this.camera.node, this.sheet.node, this.typing.node, this.more.node);
    canSpeak(); // voices load in the background from the first question on
  }

  /** The caution stands where the work is; a press shows it whole. */
  caution() {
    return el("aside.caution", { "aria-label": "Cautions" }, el("button.caution-line", { type: "button", "aria-haspopup": "dialog", onclick: () => { this.sheet.open("Before you test", [cautionList(CAUTION)]); } },
      icon("warning"), el("span", {}, el("strong", {}, "Insulation testing can kill. "), el("span.rest", {}, "Work dead and proved dead; discharge before touching."))));
  }

  /** Show a place, and there perhaps one axis. */
  show(place, axis) {
    this.places.show(place);
    if (place !== "axes" || !axis) return;
    this.opened.add(axis);
    this.openAxes();
    const card = document.getElementById(`axis-${axis}`);
    if (card) card.scrollIntoView({ block: "start" });
  }

  openAxes() {
    for (const card of this.axes.querySelectorAll("section.axis")) card.unfold(this.opened.has(card.dataset.axis));
  }

  typingForm() {
    const draft = `${this.job.id}.typing`;
    const form = readingForm({ qualifier: "=" }, this.job, async (reading) => {
      try {
        const test = !reading.kind || reading.kind === "insulation_resistance";
        if (test && this.questions.due(reading.axis)) this.typing.close();
        if (test && !(await this.questions.ask(reading.axis))) return;
        const answer = await act(this.job.id, `${this.path}/typed`, filledIn(reading), `typed: ${[reading.value, reading.unit, reading.axis].filter(Boolean).join(" ")}`);
        dropDraft(draft);
        this.typing.close();
        form.reset();
        if (answer.waiting) return;
        await this.refresh();
        this.tell(answer);
      } catch (error) { say(error.message, "error"); }
    });
    keepDraft(form, draft);
    return form;
  }

  type() {
    if (this.stale) fill(this.typing.body, this.typingForm());
    this.stale = false;
    this.typing.open();
  }

  /** Correct what is shown: the proposal that is asked about, else the last record. */
  correct() {
    const { current, last } = this;
    if (!current && !last) return;
    const reading = current ? current.proposal : last;
    const done = async (after) => {
      this.sheet.close();
      const differs = changed(reading, after);
      if (!Object.keys(differs).length) { say("Nothing was changed."); return; }
      if (current) await current.answer("correct", { reading: differs }, "Corrected. Read it again, then confirm.");
      else await correctRecord(last, this.job, after, () => this.refresh());
    };
    const whole = () => {
      const form = readingForm(reading, this.job, done, false);
      form.querySelector("[name=value]").dataset.first = "true";
      this.sheet.open("", [form]);
    };
    this.sheet.open(current ? "Correct this value" : `Correct record ${last.id}`, keypad(reading, done, whole));
  }

  says(state, words) {
    this.words = words === undefined ? this.words : words; // what was said last stays until something new is
    this.stage.says(state, this.words);
  }

  /** Show what the listening does. */
  hears({ state, words, level, live }) {
    if (level !== undefined) this.stage.level(level);
    if (state !== undefined) this.says(state, words);
    if (live !== undefined || state !== undefined) { this.stage.listens(Boolean(this.listening && this.listening.on)); awake(Boolean(this.listening && this.listening.on)); }
  }

  async send(file, name = file.name || "upload", kept = () => {}) {
    this.says("working", `Storing ${name}…`);
    try {
      const sent = this.outbox.put(file, name, now(), "", kept);
      this.questions.ask(); // where nobody was asked before it was taken
      const answer = await sent;
      if (answer.waiting) this.says("ready", `${name} is kept here.`);
      return answer;
    } catch (error) { return this.notTaken(error); }
  }

  notTaken(error) {
    this.says("ready", error.message);
    say(error.message, "error");
    return { problem: error.message };
  }

  /** Open the camera, or take the picture, once what must be asked before was asked. */
  async photo() {
    if (this.camera.open || await this.questions.ask()) await this.camera.photo();
  }

  close() {
    this.linked();
    for (const part of [this.questions, this.dialogue, this.camera, this.outbox, this.places]) part.close();
    this.listening.stop();
    awake(false);
  }

  /** Several photos of one display: sent and read as one. */
  async sendBurst(files) {
    this.says("working", `Storing ${files.length} photos of one display…`);
    try {
      const sent = this.outbox.putBurst(files, now());
      this.questions.ask();
      const answer = await sent;
      if (answer.waiting) this.says("ready", `${files.length} photos are kept here.`);
      return answer;
    } catch (error) { return this.notTaken(error); }
  }

  /** Let the person show where the display is in a photo. */
  mark(sha256) {
    this.sheet.open("Mark the display", [cornerTool(this.path, sha256, (answer) => { this.sheet.close(); return this.answered(answer); }, () => this.sheet.close())], () => fill(this.sheet.body));
  }

  /** What waits in this browser because the server does not answer. */
  waiting(items, problem) {
    this.unsent.draw(items);
    this.questions.waiting = items;
    this.items = items;
    for (const card of this.cards.values()) card.waits(items);
    this.drawStage();
    if (problem && items.length && !this.listening.on) this.says("ready", problem);
  }

  async answered(answer, item) {
    this.camera.tray.read(answer);
    await this.refresh();
    if (item && item.path) return; // tapped or typed long ago: what it did is on the screen
    fill(this.warnings, (answer.cautions || []).map((c) => el("p.refused", { "data-caution": c.code }, c.sentence)));
    const byProfile = ((answer.seen && answer.seen.displays) || []).some((d) => d.accepted && d.unit_by_profile);
    const told = "The unit was hardly legible: it follows from what this meter can show. Look at it before you confirm.";
    fill(this.marking,
      byProfile ? el("p.soft", { "data-unit-by-profile": "" }, told) : null,
      answer.seen && !answer.proposals.length
        ? el("button", { type: "button", "data-mark": answer.sha256, onclick: () => this.mark(answer.sha256) }, "Mark the display in the photo") : null);
    this.tell(answer);
  }

  /** Show and say what followed from a tap, a photo or a clip. */
  tell(answer) {
    if (answer.heeded === false) return;
    const confirmed = answer.records && answer.records.length;
    this.says(confirmed ? "confirmed" : (answer.proposals || []).some((p) => p.state === "open") ? "asking" : "heard", answer.message);
    this.updated = null; // what the server says of it is this very message
    tone(answer.tone).then(() => readBack(answer.spoken === undefined ? answer.message : answer.spoken)).then(() => {
      this.voiceless.textContent = mute() && wanted() ? "Nothing on this device or on the server can speak: read the questions on the screen." : "";
    });
  }

  /** Show what was said in another tab, on another phone or by voice. */
  follow(state) {
    this.asked = state.questions;
    this.dialogue.draw(state);
    const first = this.updated === undefined && state.questions.length > 0;
    const news = this.updated !== undefined && this.updated !== null && state.updated_at !== this.updated;
    this.updated = state.updated_at;
    const names = { paused: "paused", noting: "listening", asking: "asking", ready: "heard", resting: "heard" };
    if ((news || first) && !this.listening.on) this.says(names[state.state], state.message || (state.questions[0] || {}).text || "");
    else if (state.state === "paused" && this.listening.on) this.says("paused", state.message);
    else if (state.state === "resting" && this.listening.on && !this.listening.sending) this.says("resting", AT_REST);
    this.drawStage();
  }

  /** See whether something was said or tapped elsewhere; now and then look at everything. */
  async look() {
    if (away()) return; // what was kept is shown already
    this.looks = (this.looks || 0) + 1;
    const dialogue = await get(`${this.path}/dialogue`);
    if (dialogue.updated_at === this.updated && this.looks % 4) this.follow(dialogue);
    else await this.refresh();
  }

  /** Show what the server says now, or said last; never fails, since it follows every tap. */
  async refresh() {
    try { await this.draw(); } catch (error) { say(error.message, "error"); }
  }

  async draw() {
    const asked = look(this.path); // its axes may be others by now: added, renamed or withdrawn elsewhere
    const [dialogue, job, proposals, records, findings, plans, safety] = await Promise.all([look(`${this.path}/dialogue`),
      asked, look(`${this.path}/proposals?state=open`), look(`${this.path}/records`), look(`${this.path}/findings`), look(`${this.path}/plan`),
      asked.then((now) => Promise.all(now.axes.map((a) => look(`${this.path}/axes/${encodeURIComponent(a.name)}/safety`)))),
    ]);
    this.follows(job);
    this.questions.safety = safety;
    this.follow(dialogue);
    const seen = JSON.stringify([job.next, proposals, records, findings, plans, safety]);
    if (seen === this.seen) return; // drawing anew would close the forms that a person is filling in
    this.seen = seen;
    this.nextWords = job.next;
    this.nextPoint = job.next_point;
    this.records = records;
    this.drawProposals(proposals);
    this.drawAxes(records, findings, plans, safety);
    this.drawStage();
  }

  /** Take over axes that are others by now; a reading that is being typed is kept by its draft. */
  follows(job) {
    if (JSON.stringify(job.axes) === JSON.stringify(this.job.axes)) return;
    Object.assign(this.job, job); // every part of this page holds this very object
    this.stale = true;
    this.seen = null;
  }

  drawProposals(open) {
    const cards = new Map();
    for (const proposal of open) {
      const key = `${proposal.id}@${proposal.revision}`; // unchanged: its card stays, with what is typed into it
      const card = this.cards.get(key) || proposalCard(proposal, this.job, () => this.refresh(), (sha256) => this.mark(sha256), (answer) => this.tell(answer), this.questions, (error) => this.stopped(error, proposal));
      card.proposal = proposal;
      cards.set(key, card);
    }
    this.cards = cards;
    for (const card of cards.values()) card.waits(this.questions.waiting);
    // Doubts first, then the newest.
    const doubtful = (card) => ((card.proposal.doubts || []).length ? 0 : 1);
    const sorted = [...cards.values()].reverse().sort((a, b) => doubtful(a) - doubtful(b));
    fill(this.proposals, sorted.length ? sorted : el("p.empty", {}, "Nothing waits for an answer."));
    this.places.count("check", sorted.length, "to check");
  }

  /** An answer was not taken: say why where the work is, and ask what is open before it. */
  stopped(error, proposal) {
    this.stage.refuse(error.message);
    if (error.code === "safety_open" && this.dialogue.question.hidden) this.questions.insist(proposal.axis);
  }

  /** The value that is asked about, or the last one recorded. */
  drawStage() {
    const asked = (this.asked || []).flatMap((q) => q.proposals || []);
    const open = [...this.cards.values()].map((card) => card.proposal);
    const one = asked.map((id) => open.find((p) => p.id === id)).find(Boolean) || open[open.length - 1];
    this.current = one ? [...this.cards.values()].find((card) => card.proposal === one) : null;
    this.last = (this.records || []).filter((r) => r.status === "current").reduce((a, b) => (!a || b.confirmed_at >= a.confirmed_at ? b : a), null);
    this.stage.draw(one || null, this.last, {
      next: this.nextWords || "", nextPoint: this.nextPoint, question: this.questions.node.hidden ? (this.asked || [])[0] : { kind: "safety" },
      waits: Boolean(this.current && this.current.waiting), answer: this.current && this.current.answer,
    });
  }

  drawAxes(records, findings, plans, safety) {
    const opened = new Set([...this.axes.querySelectorAll("details[open]")].map((d) => d.id));
    // An axis without a record in force has nothing to judge yet.
    const graded = Object.fromEntries(findings.axes.filter((v) => records.some((r) => r.axis === v.axis && r.status === "current")).map((v) => [v.axis, v]));
    fill(this.axes, this.job.axes.map((axis, i) => axisCard({
      job: this.job, axis, graded: graded[axis.name], safety: safety[i], plan: plans[i], refresh: () => this.refresh(),
      records: records.filter((r) => r.axis === axis.name),
      fold: (open) => { if (open) this.opened.add(axis.name); else this.opened.delete(axis.name); this.openAxes(); },
    })));
    this.openAxes();
    const answered = new Set(safety.filter((s) => !s.open.length).map((s) => `safety-${s.axis}`));
    for (const details of this.axes.querySelectorAll("details")) details.open = opened.has(details.id) && !answered.has(details.id);
    this.report.draw(this.job.axes, graded, plans, findings.axes);
  }
}

function upload(words, props, send, questions) {
  const input = el("input", { type: "file", ...props,
    onclick: async (event) => {
      if (!questions.due()) return;
      event.preventDefault();
      if (await questions.ask()) { questions.passed = true; input.click(); }
    },
    oncancel: () => { questions.passed = false; },
    onchange: async () => {
      const files = [...input.files];
      if (files.length) await send(files);
      input.value = "";
    } });
  return el("label.button", {}, words, input);
}
