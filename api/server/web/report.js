// The place of the report: what came out so far, what is left, each form of the report, and the trail verified.

import { verdictTag } from "./axis.js";
import { el, fill, say } from "./dom.js";
import { icon } from "./icons.js";
import { get, post } from "./server.js";

const FORMS = {
  "": "to read here", "as=pdf": "PDF, A4", "as=pdf&paper=letter": "PDF, Letter", "as=short": "short text", "as=csv": "table (CSV)",
};
const OPENED = /^(as=short)?$/; // shown in a tab; the others are saved

export class ReportPlace {
  /** @param {object} job @param {string} path of the job */
  constructor(job, path) {
    this.path = path;
    this.verdict = el("p.overall", { id: "overall" });
    this.found = el("ul.by-axis");
    this.form = el("select", { id: "report-form", "aria-label": "Form of the report" },
      Object.entries(FORMS).map(([name, words]) => el("option", { value: name }, words)));
    this.button = el("button.main", { type: "button", id: "report", onclick: () => this.make() }, icon("report"), "Report");
    this.verified = el("p", { role: "status", id: "verified" });
    this.printed = el("input.look", { id: "printed", size: 34, maxlength: 200, autocapitalize: "none", spellcheck: false, placeholder: "six words of a printed report", "aria-label": "Six words of a printed report, to find them on the trail" });
    this.node = el("section.report-place", { "aria-label": "Report" },
      el("div.card", {}, el("h2", {}, "How it stands"), this.verdict, this.found),
      el("div.card", {}, el("h2", {}, "Make the report"), el("div.row", {}, this.form, this.button),
        el("p.soft", {}, "Every value stands beside its clip or photo, with the limits and their sources.")),
      el("div.card", {}, el("h2", {}, "Is the trail intact?"), el("p.soft", {}, "Recomputes every entry and every file. With the six words of a printed report it also says whether that report is on this trail."),
        this.printed, el("div.row", {}, el("button.look", { type: "button", id: "verify", onclick: () => this.verify() }, icon("check"), "Verify the trail")), this.verified));
  }

  /** @param {object[]} axes of the job @param {Object<string, object>} graded by axis @param {object[]} plans @param {object[]} findings most serious first */
  draw(axes, graded, plans, findings) {
    const worst = findings.find((v) => graded[v.axis]);
    const left = plans.reduce((n, p) => n + p.tasks.filter((t) => t.state === "next" || t.state === "due").length, 0);
    const untested = axes.filter((a) => !graded[a.name]).length;
    const open = [left ? `${left} ${left === 1 ? "point" : "points"} left` : "", untested ? `${untested} ${untested === 1 ? "axis" : "axes"} untested` : ""].filter(Boolean).join(", ");
    // Green only where nothing that was planned is untested.
    fill(this.verdict, !worst ? "Nothing is confirmed yet." : worst.verdict === "acceptable" && open ? el("span.verdict.unsure", {}, `? Not finished: ${open}`) : [verdictTag(worst.verdict, worst.urgency), open ? el("span.soft", {}, ` ${open}`) : null]);
    fill(this.found, axes.map((axis) => {
      const one = graded[axis.name];
      return el("li", {}, el("strong", {}, axis.name), " ", verdictTag(one && one.verdict, one && one.urgency), one ? el("span", {}, ` ${one.headline_found}`) : null);
    }));
  }

  /** Make the report, and show it in a tab of its own; the tab is opened at once, since browsers allow that only in the press itself. */
  async make() {
    const chosen = this.form.value;
    const tab = OPENED.test(chosen) ? window.open("", "_blank") : null;
    this.button.disabled = true;
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
    } finally { this.button.disabled = false; }
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
}
