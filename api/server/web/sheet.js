// A sheet that rises from the lower edge, where the thumb is; what is behind it takes no presses meanwhile.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";

export class Sheet {
  /**
   * @param {string} id
   * @param {string} title its name, shown at its head
   * @param {Node[]} content
   */
  constructor(id, title, content = []) {
    this.heading = el("h2", { id: `${id}-title` }, title);
    this.body = el("div.sheet-body", {}, content);
    this.closer = el("button.closer", { type: "button", onclick: () => this.close() }, icon("no"), "Close");
    this.node = el("dialog.sheet", { id, "aria-labelledby": `${id}-title`, "aria-modal": "true" },
      el("header", {}, this.heading, el("p.discharge-short"), this.closer), this.body);
    this.node.addEventListener("keydown", (event) => { if (event.key === "Escape") { event.preventDefault(); this.close(); } });
    this.node.addEventListener("click", (event) => { if (event.target === this.node) this.close(); });
  }

  get isOpen() { return this.node.open; }

  /** Show it, perhaps with other content; what had the focus gets it back. */
  open(title = "", content = null, closed = null) {
    if (title) this.heading.textContent = title;
    if (content) fill(this.body, content);
    if (closed) this.closed = closed;
    if (this.node.open) return;
    this.before = document.activeElement;
    this.node.show();
    this.behind = [document.getElementById("top"), ...this.node.parentElement.children].filter((one) => one !== this.node && !one.inert);
    for (const one of this.behind) one.inert = true;
    const first = this.body.querySelector("[data-first], input:not([type=file]), select, button");
    (first || this.closer).focus({ preventScroll: true });
  }

  close() {
    if (!this.node.open) return;
    for (const one of this.behind) one.inert = false;
    this.node.close();
    if (this.before && this.before.isConnected) this.before.focus({ preventScroll: true });
    if (this.closed) { const { closed } = this; this.closed = null; closed(); }
  }
}
