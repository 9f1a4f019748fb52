// One job: what is being said, what waits for an answer, and every axis with its readings.

import { axisCard, verdictSign, verdictTag } from "./axis.js";
import { MODES, attend, mode, setMode } from "./attention.js";
import { Camera } from "./camera.js";
import { cornerTool } from "./corners.js";
import { DialoguePart, lockoutPart } from "./dialogue.js";
import { el, fill, say } from "./dom.js";
import { filledIn, readingForm } from "./form.js";
import { instrumentsPart } from "./instruments.js";
import { Listening } from "./listen.js";
import { Outbox } from "./outbox.js";
import { proposalCard } from "./proposal.js";
import { canSpeak, mute, readBack, tone, want, wanted } from "./readback.js";
import { get, now, post } from "./server.js";

const CAUTION = [
  "Insulation testing can kill: up to 1000 V, and the winding keeps its charge. Discharge at least four times the test time, measure, then earth, before anyone touches a terminal.",
  "Work dead, locked out and proved dead. Motor leads off the drive; encoder, brake and sensor leads out of the test; vertical axes supported.",
  "Local codes, the site's lock-out procedure and licensed practice come before anything on this page.",
];
const REPORT_FORMS = {
  "": "to read here", "as=pdf": "PDF, A4", "as=pdf&paper=letter": "PDF, Letter", "as=short": "short text", "as=csv": "table (CSV)",
};
const OPENED = /^(as=short)?$/; // shown in a tab; the others are saved
const LOOK_EVERY_MS = 2000; // another phone, or the command line, may work on the same job

export async function jobView(main, where, id) {
  const path = `/api/jobs/${encodeURIComponent(id)}`;
  const job = await get(path);
  const view = new JobView(job, path, where);
  fill(main, view.node);
  await view.refresh();
  const timer = setInterval(() => { if (!document.hidden) view.look().catch(() => {}); }, LOOK_EVERY_MS);
  return () => { clearInterval(timer); view.dialogue.close(); view.camera.close(); view.outbox.close(); view.listening.stop(); };
}

class JobView {
  constructor(job, path, where) {
    this.job = job;
    this.path = path;
    this.cards = new Map();
    where.textContent = `${job.id} · ${job.title}`;
    this.meter = el("i");
    this.speak = el("button.speak", { type: "button", "aria-pressed": "false" }, "Speak");
    this.now = el("section.card.now", { "aria-live": "polite", "aria-label": "Listening" });
    this.proposals = el("div", { id: "proposals" });
    this.warnings = el("div", { id: "warnings", role: "alert" });
    this.marking = el("div", { id: "marking" });
    this.unsent = el("p.refused", { id: "unsent", role: "status" });
    this.outbox = new Outbox(job.id, (count, problem) => this.waiting(count, problem), (answer) => this.answered(answer), (answer) => this.show({ state: "working", words: answer.message }));
    this.next = el("p.next", { id: "next" });
    this.axes = el("div", { id: "axes" });
    this.chips = el("nav.axes", { "aria-label": "Axes" });
    this.verdict = el("span");
    this.form = el("select", { id: "report-form", "aria-label": "Form of the report" },
      Object.entries(REPORT_FORMS).map(([name, words]) => el("option", { value: name }, words)));
    this.verified = el("p", { role: "status", id: "verified" });
    this.printed = el("input", { id: "printed", size: 34, maxlength: 200, autocapitalize: "none", spellcheck: false, placeholder: "six words of a printed report", "aria-label": "Six words of a printed report, to find them on the trail" });
    this.dialogue = new DialoguePart(path, () => this.refresh());
    this.camera = new Camera((picture, name) => this.send(picture, name), () => document.getElementById("photo").closest("label").classList.add("wanted"));
    this.voiceless = el("p.refused", { id: "voiceless", role: "status" });
    this.listening = new Listening(job.id, (state) => this.show(state), () => this.refresh(), (clip, at) => this.send(clip, "spoken.wav", at), () => this.camera.photo());
    attend(this.speak, this.listening);
    this.show({ state: "ready", words: "Press Speak, then say the axis, the part and the value." });
    this.node = el("div", {},
      el("div.row.head", {}, el("h1", {}, job.title), this.verdict, this.form, el("button.main", { type: "button", id: "report", onclick: () => this.report() }, "Report")),
      el("p.soft", {}, [job.customer, job.machine, job.alarm_text].filter(Boolean).join(" · ")),
      cautions(),
      el("div.work", {},
        el("div.left", {}, this.bar(), this.warnings, this.now, this.dialogue.node, this.camera.node, this.voiceless, this.unsent, this.marking, this.proposals, this.next, this.typing(), instrumentsPart(path), lockoutPart(path, () => this.refresh())),
        el("div.right", {}, this.chips, this.axes, this.foot())));
    canSpeak(); // voices load in the background from the first question on
  }

  bar() {
    return el("div.bar", {}, this.speak,
      upload("Photo", { accept: "image/*", capture: "environment", id: "photo", multiple: true }, (files) => (files.length > 1 ? this.sendBurst(files) : this.send(files[0]))),
      upload("Clip", { accept: "audio/*", id: "clip" }, ([file]) => this.send(file)));
  }

  foot() {
    const voice = el("button", { type: "button", "aria-pressed": String(wanted()), onclick: () => {
      want(!wanted());
      voice.textContent = wanted() ? "Read-back: on" : "Read-back: off";
      voice.setAttribute("aria-pressed", String(wanted()));
    } }, wanted() ? "Read-back: on" : "Read-back: off");
    const attention = el("select", { id: "attention", "aria-label": "When to listen", onchange: () => setMode(attention.value) },
      Object.entries(MODES).map(([name, words]) => el("option", { value: name, selected: name === mode() }, words)));
    return el("div.row", {}, voice, attention,
      this.printed,
      el("button", { type: "button", id: "verify", onclick: () => this.verify() }, "Verify the trail"), this.verified);
  }

  /** Make the report, and show it in a tab of its own; the tab is opened at once, since browsers allow that only in the press itself. */
  async report() {
    const chosen = this.form.value;
    const tab = OPENED.test(chosen) ? window.open("", "_blank") : null;
    const button = document.getElementById("report");
    button.disabled = true;
    if (!tab) say("Making the report…");
    try {
      const made = await post(`${this.path}/report?${chosen}`);
      if (!OPENED.test(chosen)) {
        el("a", { href: made.address, download: made.name }).click();
        say(`${made.name}: ${(made.size / 1e6).toFixed(1)} MB, saved by your browser.`);
      } else if (!tab) say("This browser opened no tab. Allow pop-ups for this page, then press Report again.", "error");
      else tab.location.replace(made.address);
    } catch (error) {
      if (tab) tab.close();
      say(error.message, "error");
    } finally { button.disabled = false; }
  }

  /** Recompute the whole trail on the server and say what came out. */
  async verify() {
    this.verified.textContent = "Checking every entry and every file…";
    try {
      const found = await get(`/api/verify?${new URLSearchParams({ printed: this.printed.value.trim() })}`);
      const told = {
        intact: `Intact: ${found.entries} entries and ${found.files} files as recorded.`,
        changed: `CHANGED since it was recorded: ${found.problems.slice(0, 3).join(" ")}`,
        missing: `NOT THERE: ${found.problems.join(" ")}`,
        unreadable: `NOT CHECKED to the end: ${found.unread.slice(0, 3).join(" ")}`,
      };
      this.verified.textContent = [told[found.result], ...found.witnesses.slice(0, 3), ...found.notes.slice(0, 3)].join(" ");
    } catch (error) { this.verified.textContent = error.message; }
  }

  typing() {
    const form = readingForm({ qualifier: "=" }, this.job, async (reading) => {
      try {
        const answer = await post(`${this.path}/typed`, { ...filledIn(reading), captured_at: now() });
        await this.refresh();
        this.tell(answer);
        this.typed.open = false;
        form.reset();
      } catch (error) { say(error.message, "error"); }
    });
    this.typed = el("details.card", { id: "typing" }, el("summary", {}, "Type a reading"), form);
    return this.typed;
  }

  /** Show where the conversation stands. */
  show({ state, words, level, live }) {
    const names = { ready: "READY", listening: "LISTENING", heard: "HEARD", asking: "ASKING", confirmed: "CONFIRMED", paused: "PAUSED", working: "READING" };
    if (state === undefined) {
      if (level !== undefined) this.meter.style.width = `${Math.round(level * 100)}%`;
      if (live !== undefined) this.button();
      return;
    }
    this.now.className = `card now ${state}`;
    this.words = words === undefined ? this.words : words; // what was said last stays until something new is
    fill(this.now, el("div.state", {}, names[state] || state), el("div.words", { id: "words" }, this.words), el("div.level", { "aria-hidden": "true" }, this.meter));
    this.button();
  }

  button() {
    const on = Boolean(this.listening && this.listening.on);
    this.speak.textContent = on ? "Stop" : "Speak";
    this.speak.setAttribute("aria-pressed", String(on));
    this.now.classList.toggle("live", on);
    if (!on) this.meter.style.width = "0";
  }

  async send(file, name = file.name || "upload", capturedAt = now()) {
    this.show({ state: "working", words: `Storing ${name}…` });
    try {
      await this.outbox.put(file, name, capturedAt);
    } catch (error) {
      this.show({ state: "ready", words: error.message });
      say(error.message, "error");
    }
  }

  /** Several photos of one display: sent and read as one. */
  async sendBurst(files) {
    this.show({ state: "working", words: `Storing ${files.length} photos of one display…` });
    try {
      await this.outbox.putBurst(files, now());
    } catch (error) {
      this.show({ state: "ready", words: error.message });
      say(error.message, "error");
    }
  }

  /** Let the person show where the display is in a photo. */
  mark(sha256) {
    fill(this.marking, cornerTool(this.path, sha256, (answer) => this.answered(answer), () => fill(this.marking)));
    this.marking.scrollIntoView({ block: "start" });
  }

  /** What waits in this browser because the server does not answer. */
  waiting(count, problem) {
    this.unsent.textContent = count ? `${count} not sent yet. Kept in this browser; sent by itself when the network is back.` : "";
    if (problem) this.show({ state: "ready", words: problem });
  }

  async answered(answer) {
    await this.refresh();
    fill(this.warnings, (answer.cautions || []).map((c) => el("p.refused", { "data-caution": c.code }, c.sentence)));
    fill(this.marking, answer.seen && !answer.proposals.length
      ? el("button", { type: "button", "data-mark": answer.sha256, onclick: () => this.mark(answer.sha256) }, "Mark the display in the photo") : null);
    this.tell(answer);
  }

  /** Show and say what followed from a tap, a photo or a clip. */
  tell(answer) {
    const confirmed = answer.records && answer.records.length;
    this.show({ state: confirmed ? "confirmed" : (answer.proposals || []).some((p) => p.state === "open") ? "asking" : "heard", words: answer.message });
    this.updated = null; // what the server says of it is this very message
    tone(answer.tone).then(() => readBack(answer.spoken === undefined ? answer.message : answer.spoken)).then(() => {
      this.voiceless.textContent = mute() && wanted() ? "Nothing on this device or on the server can speak: read the questions on the screen." : "";
    });
  }

  /** Show what was said in another tab, on another phone or by voice. */
  follow(state) {
    this.dialogue.draw(state);
    const news = this.updated !== undefined && this.updated !== null && state.updated_at !== this.updated;
    this.updated = state.updated_at;
    const names = { paused: "paused", noting: "listening", asking: "asking", ready: "heard" };
    if (news && !this.listening.on) this.show({ state: names[state.state], words: state.message });
    else if (state.state === "paused" && this.listening.on) this.show({ state: "paused", words: state.message });
  }

  /** See whether something was said or tapped elsewhere; now and then look at everything. */
  async look() {
    this.looks = (this.looks || 0) + 1;
    const dialogue = await get(`${this.path}/dialogue`);
    if (dialogue.updated_at === this.updated && this.looks % 4) this.follow(dialogue);
    else await this.refresh();
  }

  async refresh() {
    const [dialogue, job, proposals, records, findings, plans, safety] = await Promise.all([get(`${this.path}/dialogue`),
      get(this.path), get(`${this.path}/proposals?state=open`), get(`${this.path}/records`), get(`${this.path}/findings`), get(`${this.path}/plan`),
      Promise.all(this.job.axes.map((a) => get(`${this.path}/axes/${encodeURIComponent(a.name)}/safety`))),
    ]);
    this.follow(dialogue);
    const seen = JSON.stringify([job.next, proposals, records, findings, plans, safety]);
    if (seen === this.seen) return; // drawing anew would close the forms that a person is filling in
    this.seen = seen;
    this.next.textContent = job.next;
    this.drawProposals(proposals);
    this.drawAxes(records, findings, plans, safety);
  }

  drawProposals(open) {
    const cards = new Map();
    for (const proposal of open) {
      const key = `${proposal.id}@${proposal.revision}`; // unchanged: its card stays, with what is typed into it
      cards.set(key, this.cards.get(key) || proposalCard(proposal, this.job, () => this.refresh(), (sha256) => this.mark(sha256), (answer) => this.tell(answer)));
    }
    this.cards = cards;
    fill(this.proposals, [...cards.values()].reverse());
  }

  drawAxes(records, findings, plans, safety) {
    const opened = new Set([...this.axes.querySelectorAll("details[open]")].map((d) => d.id));
    // An axis without a record in force has nothing to judge yet.
    const graded = Object.fromEntries(findings.axes.filter((v) => records.some((r) => r.axis === v.axis && r.status === "current")).map((v) => [v.axis, v]));
    fill(this.axes, this.job.axes.map((axis, i) => axisCard({
      job: this.job, axis, graded: graded[axis.name], safety: safety[i], plan: plans[i], refresh: () => this.refresh(),
      records: records.filter((r) => r.axis === axis.name),
    })));
    const answered = new Set(safety.filter((s) => !s.open.length).map((s) => `safety-${s.axis}`));
    for (const details of this.axes.querySelectorAll("details")) details.open = opened.has(details.id) && !answered.has(details.id);
    fill(this.chips, this.job.axes.map((axis) => el("button", { type: "button", onclick: () => {
      const card = document.getElementById(`axis-${axis.name}`);
      card.scrollIntoView({ block: "start" });
      card.focus({ preventScroll: true });
    } }, axis.name, verdictSign(graded[axis.name] && graded[axis.name].verdict))));
    const worst = findings.axes.find((v) => graded[v.axis]); // most serious first
    const left = plans.reduce((n, p) => n + p.tasks.filter((t) => t.state === "next" || t.state === "due").length, 0);
    const untested = this.job.axes.filter((a) => !graded[a.name]).length;
    // Green only where nothing that was planned is untested.
    const whole = !left && !untested;
    fill(this.verdict, !worst ? "" : worst.verdict === "acceptable" && !whole
      ? el("span.verdict.unsure", {}, `? Not finished: ${left ? `${left} ${left === 1 ? "point" : "points"} left` : ""}${left && untested ? ", " : ""}${untested ? `${untested} ${untested === 1 ? "axis" : "axes"} untested` : ""}`)
      : verdictTag(worst.verdict, worst.urgency));
  }
}

function cautions() {
  return el("aside.caution", { "aria-label": "Cautions" }, el("details", {}, el("summary", {}, el("span", {}, el("strong", {}, "Insulation testing can kill. "), "Work dead and proved dead, drive off the leads, discharge before anyone touches.")), el("ul", {}, CAUTION.map((c) => el("li", {}, c)))));
}

function upload(words, props, send) {
  return el("label.button", {}, words, el("input", { type: "file", ...props, onchange: async (event) => {
    const files = [...event.target.files];
    if (files.length) await send(files);
    event.target.value = "";
  } }));
}
