// A person shows where the display is: four corners tapped on the photo, adjusted by dragging or by the arrow keys.

import { el, fill, say } from "./dom.js";
import { post } from "./server.js";

const NAMES = ["top left", "top right", "bottom right", "bottom left"];
const STEP = 0.004; // of the photo's side, for one press of an arrow key
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const SVG = "http://www.w3.org/2000/svg";

/** Sort four points clockwise, the first one first: a person may tap them in any order. */
export function clockwise(points) {
  const cx = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const cy = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  const angle = (p) => Math.atan2(p[1] - cy, p[0] - cx);
  const round = [...points].sort((a, b) => angle(a) - angle(b)); // y runs down, so rising angles run clockwise
  const first = round.indexOf(points[0]);
  return [...round.slice(first), ...round.slice(0, first)];
}

/**
 * The tool: photo, corners, and what to do with them.
 * @param {string} jobPath path of the job's routes
 * @param {string} sha256 the photo
 * @param {(answer: object) => Promise<void>} done called with what the server read; removes the tool
 * @param {() => void} close called when the person gives up
 */
export function cornerTool(jobPath, sha256, done, close) {
  const points = [];
  const outline = document.createElementNS(SVG, "svg");
  const shape = document.createElementNS(SVG, "polygon");
  outline.setAttribute("viewBox", "0 0 1 1");
  outline.setAttribute("preserveAspectRatio", "none");
  outline.setAttribute("aria-hidden", "true");
  shape.setAttribute("vector-effect", "non-scaling-stroke");
  outline.append(shape);
  const picture = el("img", { src: `/api/evidence/${sha256}/preview`, alt: "The photo; tap the corners of the display", draggable: "false" });
  const handles = el("div");
  const area = el("div.corner-area", {}, picture, outline, handles);
  const hint = el("p.place", { role: "status" });
  const read = el("button.main", { type: "button", disabled: true, onclick: () => send() }, "Read the display");
  const place = (event) => {
    const box = picture.getBoundingClientRect();
    return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height].map((v) => Math.min(1, Math.max(0, v)));
  };
  picture.addEventListener("click", (event) => {
    if (points.length === 4) return;
    points.push(place(event));
    draw();
  });

  function handle(point, index) {
    const node = el("button.corner", { type: "button", "aria-label": `Corner ${index + 1}, arrow keys move it` }, String(index + 1));
    node.style.left = `${100 * point[0]}%`;
    node.style.top = `${100 * point[1]}%`;
    node.addEventListener("pointerdown", (event) => node.setPointerCapture(event.pointerId));
    node.addEventListener("pointermove", (event) => {
      if (!node.hasPointerCapture(event.pointerId)) return;
      points[index] = place(event);
      node.style.left = `${100 * points[index][0]}%`;
      node.style.top = `${100 * points[index][1]}%`;
      outlined();
    });
    node.addEventListener("keydown", (event) => {
      const by = ARROWS[event.key];
      if (!by) return;
      event.preventDefault();
      points[index] = points[index].map((v, i) => Math.min(1, Math.max(0, v + STEP * by[i])));
      draw();
      handles.children[index].focus();
    });
    return node;
  }

  function outlined() {
    shape.setAttribute("points", (points.length === 4 ? clockwise(points) : points).map((p) => p.join(",")).join(" "));
  }

  function draw() {
    fill(handles, points.map(handle));
    outlined();
    read.disabled = points.length < 4;
    hint.textContent = points.length < 4
      ? `Tap the display's corner ${NAMES[points.length]}${points.length ? "" : " (as you read it), then go on clockwise"}.`
      : "Drag a corner if it is off, then read the display.";
  }

  async function send() {
    read.disabled = true;
    hint.textContent = "Reading…";
    try {
      await done(await post(`${jobPath}/evidence/${sha256}/corners`, { corners: clockwise(points) }));
    } catch (error) {
      say(error.message, "error");
      draw();
    }
  }

  const larger = el("button", { type: "button", "aria-pressed": "false", onclick: () => {
    const on = area.classList.toggle("large");
    larger.setAttribute("aria-pressed", String(on));
  } }, "Enlarge");
  draw();
  return el("section.card.corners", { "aria-label": "Mark the display" },
    el("h2", {}, "Where is the display?"), hint, el("div.corner-scroll", {}, area),
    el("div.row", {}, read, larger,
      el("button", { type: "button", onclick: () => { points.length = 0; draw(); } }, "Start over"),
      el("button", { type: "button", onclick: close }, "Cancel")));
}
