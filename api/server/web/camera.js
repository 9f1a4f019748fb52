// The place of the photos, over everything else: the camera's view, what was taken with what was read of it, files of the
// gallery. "photo" opens it, "photo" again takes the picture; the finder takes it by itself, unless that is turned off.

import { el, fill } from "./dom.js";
import { Finder } from "./finder.js";
import { icon } from "./icons.js";
import { readBack } from "./readback.js";
import { pictureOf, still } from "./shots.js";
import { Tray } from "./tray.js";

const WAYS = { one: "One photo", each: "One after another", together: "Several of one display" };

export class Camera {
  /**
   * @param {{one: (file: Blob, name: string, kept?: () => void) => Promise<object>, together: (files: File[]) => Promise<object>}} send
   *   take one capture, or several photos of one display; each resolves to the server's answer
   */
  constructor(send) {
    this.send = send;
    this.way = "one";
    this.shots = []; // of one display, until they are sent
    this.tray = new Tray(send);
    this.finder = new Finder((shot) => this.shot(shot), () => this.way !== "together"); // of one display the person takes as many as he wants
    this.view = el("div.viewfinder");
    this.ways = el("div.ways", { role: "group", "aria-label": "How many photos" });
    this.input = el("input", { type: "file", accept: "image/*,audio/*", id: "photo", multiple: true, onchange: async () => {
      const files = [...this.input.files];
      this.input.value = "";
      if (files.length) await this.chosen(files);
    } });
    this.shutter = el("button.main.shutter", { type: "button", onclick: () => this.take(true) }, icon("camera"), "Take it");
    this.together = el("button.main", { type: "button", id: "together", hidden: true, onclick: () => this.sendTogether() });
    this.node = el("section.camera", { id: "camera", hidden: true, role: "dialog", "aria-modal": "true", "aria-label": "Photos" },
      el("div.viewing", {}, this.view, this.finder.hint), el("div.under", {}, el("p.discharge-short"), this.tray.node, this.together, this.ways, this.finder.switch,
        el("div.shots", {}, el("button", { type: "button", onclick: () => this.close() }, icon("no"), "Close"), this.shutter,
          el("label.button", {}, icon("files"), "Files", this.input))));
    this.node.addEventListener("keydown", (event) => { if (event.key === "Escape") this.close(); });
    this.drawWays();
  }

  get open() { return Boolean(this.stream); }

  drawWays() {
    fill(this.ways, Object.entries(WAYS).map(([name, words]) => el("button", { type: "button", "aria-pressed": String(name === this.way), onclick: () => { this.way = name; this.drawWays(); this.ways.querySelector("[aria-pressed=true]").focus(); } }, words)));
    this.together.hidden = !this.shots.length;
    fill(this.together, icon("yes"), `Read these ${this.shots.length} together`);
  }

  /** Open the view, or take the picture where it is open. */
  async photo() {
    if (this.open) return this.take();
    this.show();
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1920 } } });
    } catch {
      fill(this.view, el("p.no-camera", {}, "This browser gives no camera here. Press Files: it offers the camera of the phone, or photos that you have."));
      return undefined;
    }
    if (this.node.hidden) { this.stop(); return undefined; } // closed while the browser asked
    this.video = el("video", { autoplay: true, playsinline: true, muted: true });
    this.video.srcObject = this.stream;
    fill(this.view, this.video, this.finder.overlay);
    this.shutter.disabled = false;
    this.finder.begin(this.video);
    await readBack(this.finder.itself ? 'Hold the display in the picture: it is taken by itself, or say "photo".' : 'Hold the display in the picture, then say "photo".');
    return undefined;
  }

  show() {
    this.before = document.activeElement;
    this.node.hidden = false;
    this.shutter.disabled = true;
    this.behind = [document.getElementById("top"), ...this.node.parentElement.children].filter((one) => one !== this.node && !one.inert);
    for (const one of this.behind) one.inert = true;
    this.node.querySelector(".shots button").focus({ preventScroll: true });
  }

  async take() {
    const canvas = still(this.video);
    if (!canvas) return; // the camera has not shown anything yet
    this.finder.took();
    await this.shot(await pictureOf(canvas));
  }

  /** Do with a picture what the way of the photos says. */
  async shot(shot) {
    if (this.way === "together") {
      this.shots.push(shot);
      this.tray.hold(shot, `shot ${this.shots.length}`);
      this.drawWays();
      return;
    }
    if (this.way === "one") this.close();
    await this.tray.send([shot]);
  }

  /** Files that were chosen: several photos may be of one display or of several, which only the person knows. */
  async chosen(files) {
    const { photos, others, wrong } = sorted(files);
    this.tray.wrong(wrong);
    if (photos.length > 1) {
      if (this.node.hidden) this.show();
      this.tray.ask(photos, (together) => (together ? this.tray.sendTogether(photos) : this.tray.send(photos)));
    } else if (photos.length && !wrong.length && this.way === "one") this.close();
    await this.tray.send(photos.length > 1 ? others : [...photos, ...others]);
  }

  async sendTogether() {
    const { shots } = this;
    this.shots = [];
    this.drawWays();
    this.close();
    await (shots.length > 1 ? this.tray.sendTogether(shots) : this.tray.send(shots));
  }

  stop() {
    this.finder.end();
    if (this.stream) this.stream.getTracks().forEach((track) => track.stop());
    this.stream = null;
  }

  close() {
    this.stop();
    fill(this.view);
    if (this.node.hidden) return;
    this.node.hidden = true;
    for (const one of this.behind || []) one.inert = false;
    if (this.before && this.before.isConnected) this.before.focus({ preventScroll: true });
  }
}

const PHOTO_NAMES = /\.(jpe?g|png|webp|hei[cf])$/i;
const CLIP_NAMES = /\.(wav|flac|ogg|oga|opus|mp3|m4a|mp4|aac|amr|3gp|caf|webm|wma|aiff?)$/i;

/** Photos, sound files, and what is neither by its type and by its name. */
export function sorted(files) {
  const photos = files.filter((f) => f.type.startsWith("image/") || (!f.type && PHOTO_NAMES.test(f.name)));
  const others = files.filter((f) => !photos.includes(f) && (/^(audio|video)\//.test(f.type) || CLIP_NAMES.test(f.name)));
  return { photos, others, wrong: files.filter((f) => !photos.includes(f) && !others.includes(f)) };
}
