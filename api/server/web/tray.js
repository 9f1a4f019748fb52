// What was photographed or chosen, each with its picture whole and with what was read of it; how many are sent already.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";
import { contentUrl } from "./server.js";

const MOST = 60; // pictures that are kept in sight

export class Tray {
  /** @param {{one: Function, together: Function}} send as the camera has it */
  constructor(send) {
    this.sends = send;
    this.items = new Map(); // by the key of the capture, once it is known
    this.list = el("ol.tray", { "aria-label": "Photos taken" });
    this.progress = el("progress", { hidden: true, "aria-label": "Photos sent" });
    this.line = el("p.sent-line", { role: "status" });
    this.questions = el("div.tray-questions");
    this.node = el("div.tray-part", {}, this.questions, this.line, this.progress, this.list);
    this.total = 0;
    this.gone = 0;
  }

  /** Put a picture into the tray; gives its entry. */
  hold(file, words) {
    const picture = file.type.startsWith("image/") ? el("img", { src: URL.createObjectURL(file), alt: "" }) : el("span.no-picture", {}, icon("clip"));
    const text = el("span.read", {}, words);
    const item = { picture, text, node: el("li", {}, picture, text) };
    this.list.prepend(item.node);
    while (this.list.children.length > MOST) this.list.lastChild.remove();
    return item;
  }

  count() {
    this.progress.hidden = this.gone >= this.total;
    this.progress.max = this.total;
    this.progress.value = this.gone;
    this.line.textContent = this.total > 1 ? `${this.gone} of ${this.total} sent and read` : "";
    if (this.gone >= this.total) { this.total = 0; this.gone = 0; }
  }

  /** Send each by itself. */
  async send(files) {
    this.total += files.length;
    if (files.length) this.count();
    const under = [];
    for (const file of files) {
      const item = this.hold(file, "sending…");
      // The next begins once this one is kept, not once it is read: forty photos are not held in memory at once.
      await new Promise((kept) => under.push(this.follow(item, this.sends.one(file, file.name || "photo", kept)).finally(kept)));
    }
    await Promise.all(under);
  }

  /** Send several as photos of one display. */
  async sendTogether(files) {
    this.total += 1;
    this.count();
    await this.follow(this.hold(files[0], `${files.length} photos: sending…`), this.sends.together(files));
  }

  async follow(item, sent) {
    try {
      const answer = await sent;
      if (answer) { if (answer.sha256) this.items.set(answer.sha256, item); this.tell(item, answer); }
    } finally {
      this.gone += 1;
      this.count();
    }
  }

  /** Something was made of a capture: show it on its picture. */
  read(answer) {
    const item = answer && this.items.get(answer.sha256);
    if (item) this.tell(item, answer);
  }

  tell(item, answer) {
    const [first, ...more] = answer.proposals || [];
    if (answer.problem) item.text.textContent = answer.problem;
    else if (answer.waiting) item.text.textContent = "kept here, not sent yet";
    else if (answer.state === "stored") item.text.textContent = "stored, being read…";
    else if (first) {
      item.text.textContent = `${first.display}${more.length ? ` and ${more.length} more` : ""}`;
      item.node.classList.add("known");
      if (first.crop_sha256) item.picture.src = contentUrl(first.crop_sha256);
    } else item.text.textContent = "not read";
  }

  /** Ask of several photos whether they show one display. */
  ask(photos, then) {
    const answer = (together) => { row.remove(); then(together); };
    const row = el("div.tray-question", { role: "group", "aria-label": `${photos.length} photos` }, el("p", {}, `${photos.length} photos chosen. Of one display, or each of another?`),
      el("div.row", {}, el("button.main", { type: "button", onclick: () => answer(false) }, "Each of another"), el("button", { type: "button", onclick: () => answer(true) }, "All of one display")));
    this.questions.append(row);
    row.querySelector("button").focus();
  }

  /** Name files that are neither photo nor clip; each is kept only if the person says so. */
  wrong(files) {
    for (const file of files) {
      const keep = () => { row.remove(); this.send([file]); };
      const row = el("div.tray-question", { role: "group", "aria-label": file.name }, el("p", {}, el("strong", {}, file.name), " is neither a photo nor a clip, and nothing can be read of it."),
        el("div.row", {}, el("button", { type: "button", onclick: () => row.remove() }, "Leave it out"), el("button", { type: "button", onclick: keep }, "Keep it with the job")));
      this.questions.append(row);
    }
  }
}
