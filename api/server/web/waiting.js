// What waits in this browser, what the server would not take, and whether the browser's storage can be relied on.

import { el, fill } from "./dom.js";
import { away } from "./link.js";
import { storageRefused } from "./store.js";
import { clock } from "./words.js";

const LEAST_LEFT = 64e6; // bytes: a minute of clips and a dozen photos
const SHOWN = 5;

export class WaitingPart {
  /** @param {(key: number) => void} dismiss takes a refused one off the list */
  constructor(dismiss) {
    this.dismiss = dismiss;
    this.count = el("p.refused", { id: "unsent", role: "status" });
    this.list = el("ol.queue", { id: "waiting", hidden: true });
    this.refused = el("div", { id: "refused", role: "alert" });
    this.room = el("p.refused", { id: "storage", role: "status" });
    this.node = el("div", {}, this.room, this.count, this.list, this.refused);
  }

  /** @param {[number, object][]} items with their keys, oldest first */
  draw(items) {
    const waiting = items.filter(([, item]) => !item.refused);
    const words = waiting.length ? `${waiting.length} not sent yet. Kept in this browser; sent by itself when the network is back.` : "";
    if (this.count.textContent !== words) this.count.textContent = words;
    this.list.hidden = !waiting.length;
    fill(this.list, waiting.slice(0, SHOWN).map(([, item]) => el("li", {}, `${item.words || item.name || "photos"}, ${clock(item.capturedAt)}`)),
      waiting.length > SHOWN ? el("li", {}, `and ${waiting.length - SHOWN} more`) : null);
    fill(this.refused, items.filter(([, item]) => item.refused).map(([key, item]) => el("div.row", {},
      el("p.refused", {}, `Not taken: ${item.words || item.name || "photos"}, ${clock(item.capturedAt)}. ${item.refused}`),
      el("button", { type: "button", onclick: () => this.dismiss(key) }, "Seen"))));
    this.look(waiting.length);
  }

  /** Say before the next capture what the browser's storage cannot promise. */
  async look(waiting) {
    const words = await storageProblem(waiting > 0 || away());
    if (this.room.textContent !== words) this.room.textContent = words;
  }
}

/** Why the browser's storage cannot be relied on; "" where it can, or where nothing needs it. */
async function storageProblem(needed) {
  if (storageRefused()) return "This browser has no room to keep anything more. Free some of the device's storage, or get near the server, before the next capture.";
  if (!navigator.storage || !navigator.storage.estimate) return "";
  const { quota, usage } = await navigator.storage.estimate().catch(() => ({}));
  const left = quota - usage;
  if (left < LEAST_LEFT) return `This browser has room for ${Math.max(0, Math.round(left / 1e6))} MB more. Free some of the device's storage, or get near the server, before the next capture.`;
  if (needed && navigator.storage.persisted && !(await navigator.storage.persisted().catch(() => true))) {
    return "This browser may clear what waits when the device runs short of room. Let it be sent soon; adding this page to the home screen helps.";
  }
  return "";
}

/** Ask the browser not to clear what waits. */
export function askToPersist() {
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => {});
}
