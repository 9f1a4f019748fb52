// Evidence beside a value: the picture of the display and a button that plays the clip.

import { el, say } from "./dom.js";
import { contentUrl } from "./server.js";

let playing = null;

/** A button that plays a clip; a second press stops it. */
export function playButton(sha256, label) {
  const button = el("button.play", { type: "button", "data-clip": sha256, "aria-label": `Play the clip: ${label}`, onclick: () => toggle(button, sha256) }, "▶ Play");
  return button;
}

async function toggle(button, sha256) {
  if (playing && playing.button === button) { stop(); return; }
  stop();
  const audio = new Audio(contentUrl(sha256));
  playing = { audio, button };
  button.textContent = "■ Stop";
  audio.onended = stop;
  try { await audio.play(); } catch { stop(); say("This browser does not play this type of clip. It is stored; open it on a computer.", "error"); }
}

function stop() {
  if (!playing) return;
  playing.audio.pause();
  playing.button.textContent = "▶ Play";
  playing = null;
}

/** Pictures and clips of a proposal or record, each leading to the stored file. */
export function proofs(row, small) {
  const label = row.display || row.id;
  const picture = row.crop_sha256 || row.photo_sha256;
  const parts = [];
  if (picture) {
    parts.push(el("a", { href: contentUrl(row.photo_sha256 || picture), target: "_blank", rel: "noopener", title: `Photo, SHA-256 ${row.photo_sha256 || picture}` },
      el("img", { src: contentUrl(picture), alt: row.seen_text ? `Display in the photo, read as ${row.seen_text}` : "Photo that belongs to this value", loading: "lazy" })));
  }
  if (row.clip_sha256) parts.push(playButton(row.clip_sha256, row.heard_text || label));
  return parts.length ? el(small ? "div.proofs" : "div.pictures", {}, parts) : null;
}
