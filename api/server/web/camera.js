// The camera's view on the page: "photo" opens it, "photo" again takes the picture.

import { el, fill } from "./dom.js";
import { readBack } from "./readback.js";

export class Camera {
  /**
   * @param {(file: Blob, name: string) => Promise<void>} send takes a picture
   * @param {() => void} instead called where the browser gives no camera
   */
  constructor(send, instead) {
    this.send = send;
    this.instead = instead;
    this.node = el("div.camera", { id: "camera", hidden: true });
  }

  get open() { return Boolean(this.stream); }

  /** Open the view, or take the picture where it is open. */
  async photo() {
    if (this.open) return this.take();
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", width: { ideal: 1920 } } });
    } catch {
      this.instead();
      return undefined;
    }
    this.video = el("video", { autoplay: true, playsinline: true, muted: true });
    this.video.srcObject = this.stream;
    fill(this.node, this.video, el("div.row", {}, el("button.main", { type: "button", onclick: () => this.take() }, "Take it"), el("button", { type: "button", onclick: () => this.close() }, "Close")));
    this.node.hidden = false;
    await readBack('Hold the display in the picture, then say "photo".');
    return undefined;
  }

  async take() {
    const canvas = document.createElement("canvas");
    canvas.width = this.video.videoWidth;
    canvas.height = this.video.videoHeight;
    if (!canvas.width) return; // the camera has not shown anything yet
    canvas.getContext("2d").drawImage(this.video, 0, 0);
    const picture = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.95));
    this.close();
    await this.send(picture, "camera.jpg");
  }

  close() {
    if (this.stream) this.stream.getTracks().forEach((track) => track.stop());
    this.stream = null;
    this.node.hidden = true;
    fill(this.node);
  }
}
