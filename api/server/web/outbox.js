// What was captured, tapped and typed, on its way: kept in the browser until the server has acknowledged it, sent in order,
// once. Each carries its own id, so that one sent twice (because the answer was lost) is known to the server as the same.

import { away, onLink } from "./link.js";
import { get, now, sendAction, sendBurst, sendEvidence } from "./server.js";
import { within } from "./store.js";

const RETRY_MS = 5000;
const ASK_MS = 700;
const LOCK_MS = 20000;
const DAMAGED_MOST = 5; // how often a file that arrives damaged is sent again
const REFUSALS = [400, 404, 409, 413, 422];

/** 128 random bits as text; `crypto.randomUUID` exists only over HTTPS. */
export function ownId() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
}

/** SHA-256 in hex; "" where the browser computes none (plain HTTP beyond this machine). */
async function sha256(bytes) {
  if (!crypto.subtle) return "";
  return [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
}

const blob = (part) => new Blob([part.bytes], { type: part.type });

/** Send one thing that waits. */
function send(item, hurry, limit) {
  if (item.path) return sendAction(item.path, item.body, item.clientId);
  if (item.frames) return sendBurst(item.jobId, item.frames.map((f) => ({ file: blob(f), name: f.name })), item.capturedAt, item.clientId);
  return sendEvidence(item.jobId, blob(item), item.name, item.capturedAt, item.clientId, { sha256: item.sha256 || "", utterance: item.utterance || "", hurry, limit });
}

/** The one queue of the page; tabs of one browser share what waits. */
class Queue {
  constructor() {
    this.views = new Set();
    this.open = new Map(); // by key: who waits for the answer to what was just put
    this.tries = new Map();
    this.lost = []; // what could neither be kept nor sent, by keys below zero
    this.nextLost = -1;
    this.unread = []; // captures that are stored and not read yet, in the order sent
    this.flush = this.flush.bind(this);
    this.channel = window.BroadcastChannel ? new BroadcastChannel("ohmtrail-outbox") : { postMessage() {} };
    this.channel.onmessage = ({ data }) => { this.settle(data); this.told("").catch(() => {}); };
    onLink((isAway) => { if (!isAway) { this.flush(); return; }
      for (const key of [...this.open.keys()]) this.settle({ key, answer: { waiting: true } });
      this.told("").catch(() => {});
    });
    setInterval(() => { if (this.left) this.flush(); }, RETRY_MS);
    this.flush();
  }

  /** Everything that waits or was refused, oldest first, with its key. */
  async all() {
    let keys;
    const items = await within("items", "readonly", (store) => { keys = store.getAllKeys(); return store.getAll(); });
    return items.map((item, i) => [keys.result[i], item]);
  }

  /** Keep something; resolves to the answer, or to {waiting: true}; rejects with what the server refuses. */
  async put(item, kept = () => {}) {
    const whole = { ...item, clientId: ownId(), capturedAt: item.capturedAt || now() };
    let key;
    try { key = await within("items", "readwrite", (store) => store.add(whole)); } catch { return this.unkept(whole); }
    kept();
    this.left = (this.left || 0) + 1;
    // A capture that is being read holds nobody up: it is sent once more, to be answered before it is read.
    if (this.current) { this.current.hurried = true; this.current.abort(); this.current = null; }
    if (away()) { // nobody is kept waiting for what cannot come
      await this.told("");
      this.flush();
      return { waiting: true };
    }
    const answer = new Promise((resolve, reject) => this.open.set(key, { resolve, reject }));
    this.flush().then(() => this.settle({ key, answer: { waiting: true } }));
    return answer;
  }

  /** The browser keeps nothing (full, or private): it goes straight to the server, or the person is told. */
  async unkept(item) {
    this.told("").catch(() => {}); // what is said of the room left is looked at again
    try { return await send(item, false); } catch (error) {
      if (!error.away) throw error;
      const words = "NOT KEPT: the server is away and this browser's storage is full or refuses. Free some room, then do it again.";
      const { bytes, frames, ...told } = item;
      this.lost.push([this.nextLost--, { ...told, refused: words }]); // in sight until somebody has seen it
      this.told("").catch(() => {});
      throw new Error(words);
    }
  }

  settle({ key, answer, error }) {
    const waiting = this.open.get(key);
    this.open.delete(key);
    if (waiting && error) waiting.reject(error);
    else if (waiting) waiting.resolve(answer);
    return Boolean(waiting);
  }

  /** Send what waits, oldest first; stops at the first that does not get through. */
  flush() {
    this.again = true;
    this.running = this.running || this.rounds().catch((error) => { console.warn(error.message); }).finally(() => { this.running = null; if (this.again) this.flush(); });
    return this.running;
  }

  async rounds() {
    while (this.again) {
      this.again = false;
      await this.alone(() => this.round());
    }
  }

  /** One tab sends at a time; a tab that was put to sleep holds nobody up, since the server takes nothing twice. */
  async alone(work) {
    if (!navigator.locks) { await work(); return; }
    let begun = false;
    try {
      await navigator.locks.request("ohmtrail-outbox", { signal: AbortSignal.timeout(LOCK_MS) }, async () => { begun = true; await work(); });
    } catch (error) {
      if (begun) throw error;
      await work();
    }
  }

  async round() {
    let problem = "";
    const waiting = (await this.all()).filter(([, item]) => !item.refused);
    for (const [index, [key, item]] of waiting.entries()) {
      const hurry = index < waiting.length - 1; // nobody behind it waits for what is made of it
      this.current = hurry ? null : new AbortController();
      try {
        const answer = await send(item, hurry, this.current || undefined);
        await within("items", "readwrite", (store) => store.delete(key));
        this.answered(key, item, answer);
        await this.told("");
      } catch (error) {
        if (error.again) { this.again = true; return; }
        problem = error.message;
        if (!this.final(key, error)) break;
        await this.refuse(key, item, error);
      }
    }
    await this.told(problem);
  }

  /** Whether the server will never take it: else it would block all that come after it. */
  final(key, error) {
    if (!error.code || !REFUSALS.includes(error.status)) return false;
    if (error.code !== "damaged_on_the_way") return true;
    this.tries.set(key, (this.tries.get(key) || 0) + 1);
    return this.tries.get(key) > DAMAGED_MOST;
  }

  /** Tell whoever waits for the answer; where nobody does any more, keep it with the reason until a person has seen it. */
  async refuse(key, item, error) {
    if (this.open.has(key)) {
      await within("items", "readwrite", (store) => store.delete(key));
      this.settle({ key, error });
    } else await within("items", "readwrite", (store) => store.put({ ...item, refused: error.message }, key));
  }

  answered(key, item, answer) {
    const here = this.settle({ key, answer });
    this.channel.postMessage({ key, answer });
    if (!item.path && answer.state === "stored") this.follow(item.jobId, answer);
    else if (!item.path || !here) this.tell(item.jobId, (view) => view.answered(answer, item));
  }

  tell(jobId, what) {
    for (const view of this.views) if (view.jobId === jobId) what(view);
  }

  /** Tell all views what waits. */
  async told(problem) {
    const all = [...await this.all().catch(() => []), ...this.lost];
    this.left = all.filter(([, item]) => !item.refused).length;
    for (const view of this.views) view.changed(all.filter(([, item]) => item.jobId === view.jobId), problem);
  }

  /** Take a refused one off the list. */
  async dismiss(key) {
    this.lost = this.lost.filter(([own]) => own !== key);
    if (key >= 0) await within("items", "readwrite", (store) => store.delete(key));
    await this.told("");
  }

  /** Ask for what was made of a capture that was only stored, until it is read; what comes after it is sent meanwhile. */
  async follow(jobId, answer) {
    this.tell(jobId, (view) => view.stored(answer));
    this.unread.push([jobId, answer.capture]);
    if (this.unread.length > 1) return; // somebody asks already, in order
    while (this.unread.length) {
      await new Promise((over) => setTimeout(over, ASK_MS));
      const [job, capture] = this.unread[0];
      try {
        const found = await get(`/api/captures/${encodeURIComponent(capture)}`);
        if (found.state === "stored") { this.tell(job, (view) => view.stored(found)); continue; }
        this.unread.shift();
        this.tell(job, (view) => view.answered(found, null));
      } catch (error) { if (error.status) this.unread.shift(); /* else the server does not answer; it is asked again */ }
    }
  }
}

let queue = null;
const shared = () => { queue = queue || new Queue(); return queue; };

/** Begin to send what waits, whatever view is open. */
export const beginSending = () => { shared(); };

/**
 * Do something on the server, now or as soon as it answers.
 * @param {string} jobId
 * @param {string} path of the route
 * @param {object} body the time is put in here
 * @param {string} words what it is, for the list of what waits
 * @returns {Promise<object>} the answer, or {waiting: true}
 */
export function act(jobId, path, body, words) {
  const capturedAt = now();
  return shared().put({ jobId, path, body: JSON.stringify({ ...body, captured_at: capturedAt }), words, capturedAt });
}

export class Outbox {
  /**
   * @param {string} jobId
   * @param {(items: [number, object][], problem: string) => void} changed called with what waits or was refused, and why
   * @param {(answer: object, item: object|null) => Promise<void>} answered called with what the server made of each capture
   * @param {(answer: object) => void} stored called for each that the server has stored and will read later
   */
  constructor(jobId, changed, answered, stored) {
    Object.assign(this, { jobId, changed, answered, stored });
    shared().views.add(this);
    shared().told("").catch(() => {});
  }

  close() { shared().views.delete(this); }

  flush() { return shared().flush(); }

  dismiss(key) { return shared().dismiss(key); }

  /** Keep a file and send it as soon as it can be sent; `utterance` is its id where it was spoken; `kept` is called once it is on the storage. */
  async put(file, name, capturedAt, utterance = "", kept = () => {}) {
    // Bytes, not the file itself: some phones lose files that a page holds for later.
    const bytes = await file.arrayBuffer();
    return shared().put({ jobId: this.jobId, bytes, type: file.type, name, capturedAt, utterance, sha256: await sha256(bytes), words: utterance ? "spoken" : name }, kept);
  }

  /** The same for several photos of one display. */
  async putBurst(files, capturedAt) {
    const frames = [];
    for (const file of files) frames.push({ bytes: await file.arrayBuffer(), type: file.type, name: file.name || "photo" });
    return shared().put({ jobId: this.jobId, frames, capturedAt, words: `${frames.length} photos` });
  }
}
