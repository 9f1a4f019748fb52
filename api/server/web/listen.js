// Speaking to the tool with both hands at work: one press opens the connection, then every utterance is heard, read back and
// answered until the next press. Sound goes out only while somebody speaks, and never while the tool itself speaks.
// Where no connection can be opened, or where it is lost, every utterance is kept here and goes as a clip by the outbox, under
// the same id, so that the server counts it once; meanwhile the connection is tried again.

import { Gate } from "./gate.js";
import { away } from "./link.js";
import { Microphone, level, wav } from "./microphone.js";
import { ownId } from "./outbox.js";
import { readBack, sounding, tone } from "./readback.js";
import { now } from "./server.js";

const CONNECT_MS = 3000; // some phones refuse the connection although the page itself loads
const ANSWER_MS = 20000; // a slow computer may think this long about the last utterance

const AGAIN_MS = 3000;
const STUCK = 96000; // bytes not gone out, 3 s of sound: the network is away without having said so
const LONGEST = 550; // frames of an utterance that is kept here; the server takes 60 s
const LEAST_VOICED = 2; // frames: less is a knock, no word
const NOT_KEPT = ["no_sound", "utterance_too_long", "no_such_job"]; // after these errors a clip of the same would help nobody

const WORDLESS = 40; // frames of 100 ms after which an utterance ends in which no words were heard yet

export class Listening {
  /**
   * @param {string} jobId
   * @param {(state: object) => void} show shows state, words, level
   * @param {() => Promise<void>} refresh called when something was understood
   * @param {{put: Function, flush: Function}} outbox keeps clips and sends them
   * @param {() => Promise<void>} photo opens the camera's view, or takes the picture where it is open
   * @param {() => Promise<boolean>} before asks what must be asked before a capture; whether it may go on
   */
  constructor(jobId, show, refresh, outbox, photo, before) {
    Object.assign(this, { jobId, show, refresh, outbox, photo, before });
    this.on = false; // the person wants to be heard
    this.muted = false; // the tool is speaking or thinking
    this.sending = false; // an utterance is on its way
    this.pieces = []; // that utterance, until it is acknowledged
  }

  toggle() {
    return this.on ? this.stop() : this.start();
  }

  async start() {
    if (this.busy) return; // pressed again while the browser still asks for the microphone
    this.busy = true;
    try {
      if (!(await this.before())) return;
      this.socket = away() ? null : await this.connect();
      this.muted = false;
      this.sending = false;
      this.gate = new Gate();
      this.quiet = 0; // frames since the voice ended
      this.pieces = [];
      this.microphone = new Microphone((samples) => this.frame(samples));
      await this.microphone.start();
      this.on = true;
      this.show({ state: "listening", words: "" });
      if (!this.open()) this.apart();
    } catch (error) {
      await this.close();
      this.show({ state: "ready", words: error.message });
    } finally { this.busy = false; }
  }

  /** 100 ms of sound. */
  frame(samples) {
    this.show({ level: this.muted ? 0 : level(samples) });
    this.microphone.frames.length = 0; // what counts is kept below, until it is acknowledged
    if (this.muted || sounding()) return;
    for (const piece of this.gate.pass(samples)) {
      if (!this.sending) this.begin();
      this.pieces.push(piece);
      if (this.open()) this.socket.send(piece.buffer.slice(piece.byteOffset, piece.byteOffset + piece.byteLength));
    }
    if (!this.open()) {
      if (this.sending && (this.gate.ended || this.pieces.length >= LONGEST)) this.keep();
      return;
    }
    if (this.socket.bufferedAmount > STUCK) { this.lost(); return; }
    // Without words it may have been a noise; a busy server may also not have heard them yet.
    this.quiet = this.sending && this.gate.ended ? this.quiet + 1 : 0;
    if (this.quiet && (this.partial || this.quiet > WORDLESS)) this.finish();
  }

  /** Begin an utterance: its id is the same live and as a clip. */
  begin() {
    this.started = now();
    this.utterance = ownId();
    this.sending = true;
    if (this.open()) this.tell({ type: "start", captured_at: this.started, hands_free: true, each: true, utterance: this.utterance });
  }

  /** Put the utterance into the outbox as a clip. */
  keep() {
    const { pieces, started, utterance } = this;
    const voiced = this.gate.voiced;
    this.pieces = [];
    this.sending = false;
    this.gate.reset();
    if (!pieces.length || voiced < LEAST_VOICED) return Promise.resolve();
    return this.outbox.put(wav(pieces), "spoken.wav", started, utterance)
      .catch((error) => this.show({ state: "ready", words: error.message }));
  }

  /** Ask for what was said so far. */
  finish() {
    if (!this.open() || !this.sending) return;
    this.muted = true;
    this.show({ state: "working", words: this.partial });
    this.tell({ type: "end" });
    clearTimeout(this.limit);
    this.limit = setTimeout(() => { if (this.sending) this.lost(); }, ANSWER_MS); // the answer was lost: sent as a clip it counts once
  }

  async stop() {
    if (!this.on) return;
    this.on = false;
    await this.microphone.stop();
    if (this.sending && this.open()) {
      if (!this.muted) this.finish();
      return; // closed by the answer, or by its absence
    }
    if (this.sending) await this.keep();
    await this.close();
    this.show({ state: "ready" });
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
      socket.onclose = (event) => { if (socket === this.socket) this.lost(event.reason === "idle"); };
    });
  }

  async hear(message) {
    if (message.type === "partial") {
      this.partial = message.text;
      if (this.on && !this.muted) this.show({ state: "listening", words: message.text });
      return;
    }
    clearTimeout(this.limit);
    this.partial = "";
    this.muted = true;
    if (message.type === "error" && this.sending && !NOT_KEPT.includes(message.code)) await this.keep();
    this.sending = false;
    this.pieces = [];
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
    if (answer.heeded === false) { this.show({ state: "listening", words: "" }); return; } // said to somebody else
    const state = answer.records && answer.records.length ? "confirmed" : answer.tone === "asking" ? "asking" : "heard";
    const heard = answer.heard && answer.heard.text;
    // The value and its question stand on the proposal's card right below.
    this.show({ state, words: state === "asking" && heard ? `“${heard}”` : answer.message || "Nothing understood. Say it again, please." });
    await tone(answer.tone || "heard");
    if (answer.action === "photo") await this.photo();
    else await readBack(answer.spoken === undefined ? answer.message : answer.spoken);
  }

  /** The connection was lost: what is being said is kept here from its beginning, and so is what follows. */
  async lost(idle = false) {
    const { socket } = this;
    this.socket = null;
    if (socket) socket.close();
    clearTimeout(this.limit);
    const over = this.muted && this.sending; // it was said to its end; only the answer is missing
    const kept = over || !this.on ? this.keep() : null;
    if (over) this.muted = false;
    if (!this.on || idle) {
      await kept;
      await this.close();
      if (idle) this.show({ state: "ready", words: "Nothing was said for long. Press Speak to go on." });
    } else this.apart();
  }

  /** Listen without a connection, and try to get one. */
  async apart() {
    const round = this.round = {}; // one that was begun before gives way
    this.show({ state: "listening", words: "No connection: what you say is kept here and sent when the server is back." });
    while (this.on && !this.socket && this.round === round) {
      await new Promise((over) => setTimeout(over, AGAIN_MS));
      await this.outbox.flush(); // what was said before comes first
      if (away() || !this.on) continue;
      const socket = await this.connect();
      while (socket && this.on && this.sending) { // to the end of the utterance, which goes as a clip
        await new Promise((over) => setTimeout(over, 200));
        if (!this.sending) await this.outbox.flush();
      }
      if (!socket || !this.on || this.round !== round || socket.readyState !== WebSocket.OPEN) { if (socket) socket.close(); continue; }
      this.socket = socket;
      this.show({ state: "listening", words: "" });
    }
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
