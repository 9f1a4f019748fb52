// The places of a job, each its own view under its own address; the way between them lies at the thumb.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";

export const PLACES = { measure: ["Measure", "meter"], axes: ["Axes", "axes"], check: ["To check", "check"], report: ["Report", "report"] };

export class Places {
  /** @param {string} jobId @param {Object<string, HTMLElement>} views by the names of PLACES */
  constructor(jobId, views) {
    this.jobId = jobId;
    this.views = views;
    this.counts = Object.fromEntries(Object.keys(PLACES).map((name) => [name, el("span.count", { hidden: true })]));
    this.links = Object.fromEntries(Object.entries(PLACES).map(([name, [words, drawing]]) => [name,
      el("a.place-link", { href: this.address(name), "data-place": name }, icon(drawing), el("span", {}, words), this.counts[name])]));
    this.nav = el("nav.places", { "aria-label": "Places of this job" }, Object.values(this.links));
    this.shown = "";
  }

  address(name, more = "") {
    return `#/jobs/${encodeURIComponent(this.jobId)}${name === "measure" ? "" : `/${name}`}${more ? `/${encodeURIComponent(more)}` : ""}`;
  }

  /** Show one; an unknown name leads to the work. */
  show(name) {
    const wanted = PLACES[name] ? name : "measure";
    const changes = this.shown && this.shown !== wanted;
    this.shown = wanted;
    for (const [one, view] of Object.entries(this.views)) view.hidden = one !== wanted;
    for (const [one, link] of Object.entries(this.links)) { if (one === wanted) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current"); }
    document.body.dataset.place = wanted;
    if (changes) window.scrollTo(0, 0);
  }

  go(name, more = "") { location.hash = this.address(name, more); }

  /** Say how many wait there. */
  count(name, number, words) {
    this.counts[name].hidden = !number;
    fill(this.counts[name], number ? [String(number), el("span.hidden", {}, ` ${words}`)] : null);
  }

  /** A view that was left before it was ready leaves the place of the next one alone. */
  close() { if (this.nav.isConnected) delete document.body.dataset.place; }
}
