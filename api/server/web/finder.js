// The finder in the camera's view: it shows the server small frames, draws where the display is, says what to do about it,
// and takes the picture by itself once it has been good for a moment. Of a few pictures taken then only the sharpest is
// given on: read together they cost the server three times as much, and nobody holds a phone still for nothing.

import { el, fill } from "./dom.js";
import { icon } from "./icons.js";
import { away, failed, heard, onLink } from "./link.js";
import { readBack, sounding, tone } from "./readback.js";
import { pictureOf, sharpest } from "./shots.js";

const KEY = "ohmtrail.takes-by-itself";
const EVERY_MS = 350; // between the beginnings of two frames: at most about three a second
const REST_MS = 2000; // where the server asks for a rest
const PATIENCE_MS = 5000; // a frame that is not answered by then is let go
const STALE_MS = 1200; // a frame around the display older than this is no longer true
const LONGEST = 768; // px of a longer side: 81 of 120 photos were then told rightly to be good, of 960 px 82, of 512 px 78
const MOST_BYTES = 300000; // as the server takes
const QUALITY = 0.7;
const GOOD_IN_A_ROW = 3;
const STILL = 0.08; // how far the display's middle may wander between two frames, as a share of its width
const MOVED = 0.5; // the same, from where a picture was taken: then it is another view
const GROWN = 1.4; // how many times as wide or narrow it may become until it is another view
const OTHER_IN_A_ROW = 2; // answers that show another view before the next picture is taken
const SAY_EVERY_MS = 5000;
const SAY_AGAIN_MS = 15000; // the same hint
const SVG = "http://www.w3.org/2000/svg";
const DRAWINGS = { good: "yes", taken: "yes", no_display: "camera", away: "camera", looking: "camera" };
const OWN_WORDS = { looking: "Looking for the display", taken: "Taken. Show another display, or press Take it.", away: "The server is away: press Take it." };

const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });
const middle = (quad) => [0, 1].map((i) => quad.reduce((sum, corner) => sum + corner[i], 0) / quad.length);
const wide = (quad) => Math.hypot(quad[1][0] - quad[0][0], quad[1][1] - quad[0][1]) || 1e-6;

/** How far two places of a display are apart, as a share of the first one's width; corners in px. */
function apart(one, other) {
  const [a, b] = [middle(one), middle(other)];
  return Math.hypot(a[0] - b[0], a[1] - b[1]) / wide(one);
}

function takesByItself() {
  try { return localStorage.getItem(KEY) !== "off"; } catch { return true; }
}

function drawing(name, props, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(props)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

export class Finder {
  /**
   * @param {(picture: File) => void} take gives on the picture that was taken by itself
   * @param {() => boolean} mayTake whether pictures may be taken by itself now
   */
  constructor(take, mayTake) {
    Object.assign(this, { take, mayTake });
    this.turn = 0; // counts up whenever the view is opened or closed
    this.itself = takesByItself();
    this.lines = [drawing("polygon", { class: "edge" }), drawing("polygon", { class: "line" })];
    this.overlay = drawing("svg", { class: "found", "aria-hidden": "true", preserveAspectRatio: "xMidYMid meet" }, ...this.lines);
    this.hint = el("p.hint", { id: "hint", role: "status", hidden: true });
    this.switch = el("button.by-itself", { type: "button", hidden: true, onclick: () => this.want(!this.itself) });
    this.canvas = document.createElement("canvas");
    onLink((isAway) => { if (isAway && this.video) this.shows("away"); });
    this.drawSwitch();
  }

  /** Take pictures by itself from now on, or no more; remembered on this device. */
  want(on) {
    this.itself = on;
    try { localStorage.setItem(KEY, on ? "on" : "off"); } catch { /* private window: it holds until reload */ }
    this.good = 0;
    this.taken = null;
    this.drawSwitch();
  }

  drawSwitch() {
    fill(this.switch, icon(this.itself ? "yes" : "no"), `Takes by itself: ${this.itself ? "on" : "off"}`);
    this.switch.setAttribute("aria-pressed", String(this.itself));
  }

  /** Begin to look through a camera. */
  begin(video) {
    this.video = video;
    Object.assign(this, { quad: null, taken: null, good: 0, other: 0, code: "", row: 0, saidCode: "", saidAt: Date.now(), seenAt: 0 });
    this.switch.hidden = false;
    this.turn += 1;
    this.shows(away() ? "away" : "looking");
    this.look(this.turn);
  }

  /** End; what is under way is let go. */
  end() {
    this.turn += 1;
    this.video = null;
    if (this.asked) this.asked.abort();
    this.draw(null);
    this.shows("");
    this.switch.hidden = true;
  }

  /** A picture was taken: what is in view now is not taken again by itself. */
  took() {
    this.taken = this.quad || [];
    this.good = 0;
    this.other = 0;
  }

  async look(turn) {
    while (turn === this.turn) {
      const begun = Date.now();
      let rest = 0;
      if (away()) this.draw(null);
      else if (!document.hidden && this.video.videoWidth) rest = await this.frame(turn);
      await pause(Math.max(rest, EVERY_MS - (Date.now() - begun)));
    }
  }

  /** Show the server one frame; gives how long to rest before the next, ms. */
  async frame(turn) {
    const { canvas, video } = this;
    const scale = Math.min(1, LONGEST / Math.max(video.videoWidth, video.videoHeight));
    canvas.width = Math.round(video.videoWidth * scale);
    canvas.height = Math.round(video.videoHeight * scale);
    canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
    const picture = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", QUALITY); });
    if (turn !== this.turn || !picture || picture.size > MOST_BYTES) return REST_MS;
    this.asked = new AbortController();
    const late = setTimeout(() => this.asked.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(`/api/finder?width=${video.videoWidth}`, {
        method: "POST", body: picture, credentials: "same-origin", signal: this.asked.signal, headers: { "content-type": "image/jpeg" } });
      heard();
      if (!answer.ok) return REST_MS;
      const found = await answer.json();
      if (turn === this.turn) await this.answered(found, turn);
      return 0;
    } catch (error) {
      if (turn === this.turn && error.name === "TypeError") failed(); // no connection; a late answer says nothing of it
      return REST_MS;
    } finally { clearTimeout(late); }
  }

  /** @param {{code: string, words: string, corners: number[][]|null}} found corners in shares of the frame */
  async answered(found, turn) {
    if (found.code === "busy") {
      if (Date.now() - this.seenAt > STALE_MS) { this.draw(null); this.shows("looking"); this.good = 0; }
      return;
    }
    this.seenAt = Date.now();
    const before = this.quad;
    const [w, h] = [this.video.videoWidth, this.video.videoHeight];
    this.quad = found.corners && found.corners.map(([x, y]) => [x * w, y * h]);
    const still = before && this.quad && apart(before, this.quad) < STILL;
    this.good = found.code === "good" ? (still ? this.good + 1 : 1) : 0;
    this.forget();
    this.draw(this.quad, found.code === "good");
    this.shows(this.taken && this.itself && this.mayTake() && found.code === "good" ? "taken" : found.code, found.words);
    this.say();
    if (this.good >= GOOD_IN_A_ROW && this.itself && !this.taken && this.mayTake()) await this.burst(turn);
  }

  /** Another view than the one that was taken is free to be taken. */
  forget() {
    if (!this.taken) return;
    const grown = this.quad && this.taken.length ? wide(this.quad) / wide(this.taken) : 1;
    const other = !this.quad || !this.taken.length || apart(this.taken, this.quad) > MOVED || grown > GROWN || grown < 1 / GROWN;
    this.other = other ? this.other + 1 : 0;
    if (this.other >= OTHER_IN_A_ROW) this.taken = null;
  }

  async burst(turn) {
    this.took();
    const picture = await sharpest(this.video, this.quad, () => turn === this.turn);
    if (!picture || turn !== this.turn) return;
    tone("heard");
    this.take(await pictureOf(picture));
  }

  draw(quad, good = false) {
    if (!quad) { this.overlay.classList.remove("shown"); return; }
    this.overlay.setAttribute("viewBox", `0 0 ${this.video.videoWidth} ${this.video.videoHeight}`);
    for (const line of this.lines) line.setAttribute("points", quad.map((corner) => corner.map(Math.round).join(",")).join(" "));
    this.overlay.classList.toggle("good", good);
    this.overlay.classList.add("shown");
  }

  /** Show a hint; another one only when it came twice, so that nothing flickers. */
  shows(code, words = OWN_WORDS[code] || "") {
    this.row = code === this.code ? this.row + 1 : 1;
    this.code = code;
    this.words = OWN_WORDS[code] || words;
    this.hint.hidden = !code;
    if (this.row < 2 && this.hint.dataset.hint && code && code !== "away") return;
    if (this.hint.dataset.hint === code) return;
    this.hint.dataset.hint = code;
    fill(this.hint, code ? [icon(DRAWINGS[code] || "warning"), el("span", {}, this.words)] : null);
  }

  /** Say what to do, seldom, and never while anything else is said; what is taken by itself needs no words. */
  say() {
    const since = Date.now() - this.saidAt;
    if (this.row < GOOD_IN_A_ROW || this.code === "taken" || (this.code === "good" && this.itself) || sounding()) return;
    if (since < (this.code === this.saidCode ? SAY_AGAIN_MS : SAY_EVERY_MS)) return;
    this.saidCode = this.code;
    this.saidAt = Date.now();
    readBack(this.words);
  }
}
