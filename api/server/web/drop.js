// The drop zone: a day's memos and photos, sent one by one, then taken in together; how far it is, and what was not taken.

import { el, fill, say } from "./dom.js";
import { get, post } from "./server.js";

const LOOK_EVERY_MS = 1500;

export class DropZone {
  /** @param {() => Promise<void>} taken called when a batch is on record */
  constructor(taken) {
    this.taken = taken;
    this.state = el("div", { id: "day-state", role: "status" });
    const field = (id, words, hint) => el("label", {}, `${words} `, el("input", { type: "text", id, placeholder: hint, size: 22 }));
    const input = el("input", { type: "file", multiple: true, id: "day-files", onchange: async () => { await this.send([...input.files]); input.value = ""; } });
    this.node = el("section.drop", { "aria-label": "A day's files", ondragover: (e) => { e.preventDefault(); this.node.classList.add("over"); }, ondragleave: () => this.node.classList.remove("over"),
      ondrop: (e) => { e.preventDefault(); this.node.classList.remove("over"); this.send([...e.dataTransfer.files]); } },
      el("p", {}, "Drop memos and photos here, as copied from recorder and phone, or ", el("label.button", {}, "choose files", input)),
      el("details", {}, el("summary", {}, "A clock that is off, a time zone, the job"),
        el("p", {}, field("day-clock", "Clock", "recorder +58min")), el("p", {}, field("day-zone", "Time zone", "Europe/Berlin")), el("p", {}, field("day-jobs", "Jobs", "J1@13:00 J2@14:10")),
        el("button", { type: "button", id: "day-again", onclick: () => this.start() }, "Start again with these")),
      this.state);
    get("/api/day").then((status) => { if (status.state === "running") this.follow(); }).catch(() => {});
  }

  async send(files) {
    if (!files.length) return;
    const lost = [];
    for (const [i, file] of files.entries()) {
      fill(this.state, el("p", {}, `Sending ${i + 1} of ${files.length}: ${file.name}`), el("progress", { max: files.length, value: i }));
      try {
        const answer = await fetch(`/api/day/files?name=${encodeURIComponent(file.name)}`, { method: "POST", body: file, headers: { "content-type": "application/octet-stream" } });
        if (!answer.ok) lost.push(`${file.name}: ${(await answer.json()).message}`);
      } catch { lost.push(`${file.name}: the server does not answer. Drop it again.`); }
    }
    if (lost.length) say(lost.slice(0, 3).join(" "), "error");
    await this.start();
  }

  async start() {
    const wish = (id) => document.getElementById(id).value.trim();
    try {
      await post("/api/day", { clock: wish("day-clock") || null, zone: wish("day-zone") || null, jobs: wish("day-jobs").split(/[\s,]+/).filter(Boolean) });
      await this.follow();
    } catch (error) { say(error.message, "error"); }
  }

  /** Show how far it is until it is done. */
  async follow() {
    for (;;) {
      const status = await get("/api/day");
      if (status.state !== "running") { this.done(status); return; }
      const left = status.left_s === null ? "" : `, about ${status.left_s < 90 ? `${status.left_s} s` : `${Math.round(status.left_s / 60)} min`} left`;
      fill(this.state, el("p", {}, `${status.stretch || "Looking"}: ${status.percent} %${left}`), el("progress", { max: 100, value: status.percent }));
      await new Promise((resolve) => { setTimeout(resolve, LOOK_EVERY_MS); });
    }
  }

  async done(status) {
    if (status.problem) { fill(this.state, el("p.refused", {}, `${status.problem.message} ${status.problem.what_to_do}`)); return; }
    if (!status.outcome) return;
    const { counts, clocks, proposals, before, doubles, untaken } = status.outcome;
    const rows = [...before.map((b) => `${b.file}: seen before, taken in as ${b.captures.join(", ")}.`), ...doubles.map((d) => `${d.file}: the same content as ${d.same}, taken once.`), ...untaken.map((u) => `${u.file}: ${u.message} ${u.what_to_do}`)];
    fill(this.state, el("p", {}, `${counts.memos || 0} memos, ${counts.photos || 0} photos: ${counts.values || 0} values heard, ${counts.joined || 0} with their photo. ${clocks}`),
      el("p", {}, Object.entries(proposals).map(([job, ids]) => el("a.button", { href: `/page/review.html#${job}`, onclick: () => setTimeout(() => location.reload(), 0) }, `${job}: ${ids.length} to review`))),
      rows.length ? el("details", { open: rows.length < 6 }, el("summary", {}, `${rows.length} ${rows.length === 1 ? "file" : "files"} to look at`), el("ul", {}, rows.map((row) => el("li", {}, row)))) : null);
    await this.taken();
  }
}
