// Pictures out of the camera's video, at full size, and which of a few is the sharpest.

const BURST = 3;
const BETWEEN_MS = 120; // a hand that trembles is elsewhere in it by then: some 8 to 12 times a second
const ROOM = 0.15; // around the display, as a share of it

/** Draw what the video shows now; null where it shows nothing yet. */
export function still(video) {
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  if (!canvas.width) return null;
  canvas.getContext("2d").drawImage(video, 0, 0);
  return canvas;
}

/** Make a photo of what was drawn. */
export async function pictureOf(canvas) {
  const picture = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.95); });
  return new File([picture], "camera.jpg", { type: "image/jpeg" });
}

/** Measure how sharp a part is: how much each pixel's green differs from the mean of its four neighbours, levels of 255. */
function sharpness(canvas, [left, top, width, height]) {
  const { data } = canvas.getContext("2d").getImageData(left, top, width, height);
  let sum = 0;
  for (let y = 1; y < height - 1; y += 1) {
    for (let x = 1; x < width - 1; x += 1) {
      const at = 4 * (y * width + x) + 1;
      sum += Math.abs(4 * data[at] - data[at - 4] - data[at + 4] - data[at - 4 * width] - data[at + 4 * width]);
    }
  }
  return sum / (4 * Math.max(1, (width - 2) * (height - 2)));
}

/** The box around a display with some room, inside the picture: left, top, width, height, px. */
function around(quad, canvas) {
  const span = (i, most) => {
    const values = quad.map((corner) => corner[i]);
    const room = ROOM * (Math.max(...values) - Math.min(...values));
    const from = Math.max(0, Math.floor(Math.min(...values) - room));
    return [from, Math.max(3, Math.min(most, Math.ceil(Math.max(...values) + room)) - from)];
  };
  const [left, width] = span(0, canvas.width);
  const [top, height] = span(1, canvas.height);
  return [left, top, width, height];
}

/**
 * Draw a few pictures one after the other; resolves to the one whose display is the sharpest.
 * @param {HTMLVideoElement} video
 * @param {number[][]} quad corners of the display, px
 * @param {() => boolean} goesOn whether it is still wanted; else null is given
 */
export async function sharpest(video, quad, goesOn) {
  let best = null;
  for (let n = 0; n < BURST && goesOn(); n += 1) {
    const canvas = still(video);
    if (canvas) {
      const sharp = sharpness(canvas, around(quad, canvas));
      if (!best || sharp > best.sharp) best = { canvas, sharp };
    }
    if (n + 1 < BURST) await new Promise((done) => { setTimeout(done, BETWEEN_MS); });
  }
  return goesOn() && best ? best.canvas : null;
}
