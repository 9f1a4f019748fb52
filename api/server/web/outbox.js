// Clips and photos on their way: kept in the browser until the server has acknowledged them, sent in order, once.
// Each carries its own id, so that one sent twice (because the answer was lost) is known to the server as the same.

import { get, sendBurst, sendEvidence } from "./server.js";

const NAME = "ohmtrail-outbox";
const STORE = "items";
const RETRY_MS = 5000;
const ASK_MS = 2000;

const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

function open() {
  const request = indexedDB.open(NAME, 1);
  request.onupgradeneeded = () => request.result.createObjectStore(STORE, { autoIncrement: true });
  return done(request);
}

/** 128 random bits as text; `crypto.randomUUID` exists only over HTTPS. */
function ownId() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
}

export class Outbox {
  /**
   * @param {string} jobId
   * @param {(waiting: number, problem: string) => void} changed called with how many are not sent, and why
   * @param {(answer: object) => Promise<void>} answered called with what the server made of each
   * @param {(answer: object) => void} stored called for each that the server has stored and will read later
   */
  constructor(jobId, changed, answered, stored) {
    this.jobId = jobId;
    this.changed = changed;
    this.answered = answered;
    this.stored = stored;
    this.unread = []; // ids of captures that are stored and not read yet, in the order sent
    this.flush = this.flush.bind(this);
    window.addEventListener("online", this.flush);
    this.timer = setInterval(this.flush, RETRY_MS);
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
    this.flush();
  }

  close() {
    this.closed = true;
    window.removeEventListener("online", this.flush);
    clearInterval(this.timer);
  }

  /** Keep a file and send it as soon as it can be sent. */
  async put(file, name, capturedAt) {
    const database = await open();
    // Bytes, not the file itself: some phones lose files that a page holds for later.
    const item = { jobId: this.jobId, bytes: await file.arrayBuffer(), type: file.type, name, capturedAt, clientId: ownId() };
    await done(database.transaction(STORE, "readwrite").objectStore(STORE).add(item));
    database.close();
    await this.flush();
  }

  /** The same for several photos of one display. */
  async putBurst(files, capturedAt) {
    const frames = [];
    for (const file of files) frames.push({ bytes: await file.arrayBuffer(), type: file.type, name: file.name || "photo" });
    const database = await open();
    await done(database.transaction(STORE, "readwrite").objectStore(STORE).add({ jobId: this.jobId, frames, capturedAt, clientId: ownId() }));
    database.close();
    await this.flush();
  }

  /** Send what waits, oldest first; stops at the first that does not get through. */
  async flush() {
    if (this.busy) { this.again = true; return; }
    this.busy = true;
    try {
      do {
        this.again = false;
        await this.round();
      } while (this.again);
    } finally {
      this.busy = false;
    }
  }

  /** Ask for what was made of a capture that was only stored, until it is read; what comes after it is sent meanwhile. */
  async follow(answer) {
    this.stored(answer);
    this.unread.push(answer.capture);
    if (this.unread.length > 1) return; // somebody asks already, in order
    while (this.unread.length && !this.closed) {
      await new Promise((done) => setTimeout(done, ASK_MS));
      try {
        const found = await get(`/api/captures/${encodeURIComponent(this.unread[0])}`);
        if (found.state === "stored") { this.stored(found); continue; }
        this.unread.shift();
        await this.answered(found);
      } catch { /* the server does not answer; it is asked again */ }
    }
  }

  async round() {
    const database = await open();
    const store = () => database.transaction(STORE, "readwrite").objectStore(STORE);
    const keys = await done(store().getAllKeys());
    const items = await done(store().getAll());
    const mine = keys.map((key, i) => [key, items[i]]).filter(([, item]) => item.jobId === this.jobId);
    let left = mine.length;
    for (const [key, item] of mine) {
      try {
        const answer = item.frames
          ? await sendBurst(this.jobId, item.frames.map((f) => ({ file: new Blob([f.bytes], { type: f.type }), name: f.name })), item.capturedAt, item.clientId)
          : await sendEvidence(this.jobId, new Blob([item.bytes], { type: item.type }), item.name, item.capturedAt, item.clientId);
        await done(store().delete(key));
        left -= 1;
        this.changed(left, "");
        if (answer.state === "stored") this.follow(answer);
        else await this.answered(answer);
      } catch (error) {
        // What the server refuses for good would block all that come after it.
        const refused = [400, 413, 422].includes(error.status);
        if (refused) { await done(store().delete(key)); left -= 1; }
        this.changed(left, error.message);
        if (!refused) break;
      }
    }
    database.close();
  }
}
