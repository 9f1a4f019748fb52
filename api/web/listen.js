// Speaking to the tool: sound goes out in pieces of 100 ms, words come back while they are said.
// Where no line can be kept open, the whole clip is sent when the person stops.

import { Microphone, level } from "./microphone.js";
import { readBack } from "./readback.js";
import { now, sendEvidence } from "./server.js";

const CONNECT_MS = 3000; // some phones refuse the open line although the page itself loads
const LONGEST_MS = 60000; // one clip

export class Listening {
  /**
   * @param {string} jobId
   * @param {(state: object) => void} show shows state, words, level
   * @param {() => Promise<void>} refresh called when something was understood
   */
  constructor(jobId, show, refresh) {
    this.jobId = jobId;
    this.show = show;
    this.refresh = refresh;
    this.on = false;
  }

  toggle() {
    return this.on ? this.stop() : this.start();
  }

  async start() {
    if (this.busy) return;
    this.busy = true;
    this.started = now();
    this.socket = await this.connect();
    this.microphone = new Microphone((samples) => {
      this.show({ level: level(samples) });
      if (this.socket && this.socket.readyState === WebSocket.OPEN) this.socket.send(samples.buffer);
    });
    try {
      await this.microphone.start();
      this.on = true;
      this.show({ state: "listening", words: "" });
      this.limit = setTimeout(() => this.stop(), LONGEST_MS);
    } catch (error) {
      this.close();
      this.show({ state: "ready", words: error.message });
    }
    this.busy = false;
  }

  async stop() {
    if (!this.on) return;
    this.on = false;
    clearTimeout(this.limit);
    this.show({ state: "working", words: "Understanding…" });
    await this.microphone.stop();
    if (this.socket && this.socket.readyState === WebSocket.OPEN) {
      this.socket.send(JSON.stringify({ type: "end" }));
      return;
    }
    await this.sendClip();
  }

  /** The open line, or null where there is none. */
  connect() {
    const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/jobs/${encodeURIComponent(this.jobId)}/listen`;
    return new Promise((done) => {
      let socket;
      try { socket = new WebSocket(address); } catch { done(null); return; }
      socket.binaryType = "arraybuffer";
      const give = setTimeout(() => { socket.close(); done(null); }, CONNECT_MS);
      socket.onopen = () => { clearTimeout(give); socket.send(JSON.stringify({ type: "start", captured_at: this.started })); done(socket); };
      socket.onerror = () => { clearTimeout(give); done(null); };
      socket.onmessage = (event) => this.hear(JSON.parse(event.data));
      socket.onclose = () => this.cut(socket);
    });
  }

  async hear(message) {
    if (message.type === "partial") { if (this.on) this.show({ state: "listening", words: message.text }); return; }
    if (message.type === "error") { this.close(); this.show({ state: "ready", words: `${message.message} ${message.what_to_do || ""}` }); return; }
    this.close();
    await this.understood(message);
  }

  /** Show and say what was made of it. */
  async understood(answer) {
    await this.refresh();
    const state = answer.records && answer.records.length ? "confirmed" : answer.proposals && answer.proposals.length ? "asking" : "heard";
    this.show({ state, words: answer.message || answer.text || "Nothing understood. Say it again, please." });
    if (answer.action === "photo") document.getElementById("photo").closest("label").classList.add("wanted");
    readBack(answer.message);
  }

  /** The line broke: what was recorded is sent as a clip, so that nothing said is lost. */
  async cut(socket) {
    if (socket !== this.socket || !this.microphone) return;
    this.socket = null;
    if (!this.on) await this.sendClip();
  }

  async sendClip() {
    const microphone = this.microphone;
    this.close();
    try {
      await this.understood(await sendEvidence(this.jobId, microphone.wav(), "spoken.wav", this.started));
    } catch (error) {
      this.show({ state: "ready", words: error.message });
    }
  }

  close() {
    const socket = this.socket;
    this.socket = null;
    this.on = false;
    if (this.microphone) this.microphone.stop().catch(() => {});
    this.microphone = null;
    if (socket) socket.close();
  }
}
