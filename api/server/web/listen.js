// Speaking to the tool with both hands at work: one press opens the connection, then every utterance is heard, read back and
// answered until the next press. Sound goes out only while somebody speaks, and never while the tool itself speaks.
// Where no connection can be opened, or where it is lost, what was said goes as a clip by the outbox.

import { Gate } from "./gate.js";
import { Microphone, level, wav } from "./microphone.js";
import { readBack, sounding, tone } from "./readback.js";
import { now } from "./server.js";

const CONNECT_MS = 3000; // some phones refuse the connection although the page itself loads
const ANSWER_MS = 20000; // a slow computer may think this long about the last utterance

const WORDLESS = 40; // frames of 100 ms after which an utterance ends in which no words were heard yet

export class Listening {
  /**
   * @param {string} jobId
   * @param {(state: object) => void} show shows state, words, level
   * @param {() => Promise<void>} refresh called when something was understood
   * @param {(clip: Blob, capturedAt: string) => Promise<void>} keep puts a clip into the outbox
   * @param {() => Promise<void>} photo opens the camera's view, or takes the picture where it is open
   */
  constructor(jobId, show, refresh, keep, photo) {
    this.photo = photo;
    this.keep = keep;
    this.jobId = jobId;
    this.show = show;
    this.refresh = refresh;
    this.on = false; // the person wants to be heard
    this.muted = false; // the tool is speaking or thinking
    this.sending = false; // an utterance is on its way
  }

  toggle() {
    return this.on ? this.stop() : this.start();
  }

  async start() {
    if (this.busy) return; // pressed again while the browser still asks for the microphone
    this.busy = true;
    this.socket = await this.connect();
    this.whole = this.socket === null; // no connection: the clip goes whole
    this.started = now();
    this.muted = false;
    this.sending = false;
    this.gate = new Gate();
    this.quiet = 0; // frames since the voice ended
    this.pieces = []; // the utterance on its way, until it is acknowledged
    this.microphone = new Microphone((samples) => this.frame(samples));
    try {
      await this.microphone.start();
      this.on = true;
      this.show({ state: "listening", words: this.whole ? "No connection: press Stop when you have spoken." : "" });
    } catch (error) {
      await this.close();
      this.show({ state: "ready", words: error.message });
    }
    this.busy = false;
  }

  /** 100 ms of sound. */
  frame(samples) {
    this.show({ level: this.muted ? 0 : level(samples) });
    if (this.whole || this.muted || sounding() || !this.open()) return;
    this.microphone.frames.length = 0; // the server keeps the sound from here on
    for (const piece of this.gate.pass(samples)) {
      if (!this.sending) {
        this.started = now();
        this.tell({ type: "start", captured_at: this.started, hands_free: true, each: true });
      }
      this.sending = true;
      this.pieces.push(piece);
      this.socket.send(piece.buffer.slice(piece.byteOffset, piece.byteOffset + piece.byteLength));
    }
    // Without words it may have been a noise; a busy server may also not have heard them yet.
    this.quiet = this.sending && this.gate.ended ? this.quiet + 1 : 0;
    if (this.quiet && (this.partial || this.quiet > WORDLESS)) this.finish();
  }

  /** Ask for what was said so far. */
  finish() {
    if (!this.open() || !this.sending) return;
    this.muted = true;
    this.show({ state: "working", words: this.partial });
    this.tell({ type: "end" });
  }

  async stop() {
    if (!this.on) return;
    this.on = false;
    await this.microphone.stop();
    if (this.whole) {
      this.show({ state: "working", words: "Understanding…" });
      await this.sendClip();
    } else if (this.sending && this.open()) {
      if (!this.muted) this.finish();
      this.limit = setTimeout(() => this.close(), ANSWER_MS);
    } else {
      await this.close();
      this.show({ state: "ready" });
    }
  }

  open() {
    return this.socket !== null && this.socket.readyState === WebSocket.OPEN;
  }

  tell(message) {
    this.socket.send(JSON.stringify(message));
  }

  /** Open the connection; resolves to null where there is none. */
  connect() {
    const address = `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/jobs/${encodeURIComponent(this.jobId)}/listen`;
    return new Promise((done) => {
      const socket = new WebSocket(address);
      const give = setTimeout(() => { socket.close(); done(null); }, CONNECT_MS);
      socket.onopen = () => { clearTimeout(give); done(socket); };
      socket.onerror = () => { clearTimeout(give); done(null); };
      socket.onmessage = (event) => this.hear(JSON.parse(event.data));
      socket.onclose = () => { if (socket === this.socket) this.lost(); };
    });
  }

  async hear(message) {
    if (message.type === "partial") {
      this.partial = message.text;
      if (this.on && !this.muted) this.show({ state: "listening", words: message.text });
      return;
    }
    this.partial = "";
    this.sending = false;
    this.pieces = [];
    this.muted = true;
    if (message.type === "error") this.show({ state: "heard", words: `${message.message} ${message.what_to_do || ""}` });
    else await this.understood(message);
    this.gate.reset();
    this.muted = false;
    if (!this.on) await this.close();
    else this.show({ live: true });
  }

  /** Show and say what was made of it. */
  async understood(answer) {
    await this.refresh();
    const state = answer.records && answer.records.length ? "confirmed" : answer.tone === "asking" ? "asking" : "heard";
    const heard = answer.heard && answer.heard.text;
    // The value and its question stand on the proposal's card right below.
    this.show({ state, words: state === "asking" && heard ? `“${heard}”` : answer.message || "Nothing understood. Say it again, please." });
    document.getElementById("photo").closest("label").classList.toggle("wanted", answer.action === "photo");
    await tone(answer.tone || "heard");
    if (answer.action === "photo") await this.photo();
    else await readBack(answer.spoken === undefined ? answer.message : answer.spoken);
  }

  /** The connection was lost: what was being said goes as a clip, once more from its beginning. */
  async lost() {
    const { on, pieces, started } = this;
    this.socket = null;
    this.pieces = [];
    await this.close();
    if (pieces.length) await this.keep(wav(pieces), started);
    else if (on) this.show({ state: "ready", words: "The connection was lost. Press Speak to go on." });
  }

  async sendClip() {
    const { microphone, started } = this;
    await this.close();
    await this.keep(microphone.wav(), started);
  }

  async close() {
    clearTimeout(this.limit);
    const { socket, microphone } = this;
    this.socket = null;
    this.on = false;
    this.sending = false;
    if (microphone) await microphone.stop();
    if (socket) socket.close();
    this.show({ live: false });
  }
}
