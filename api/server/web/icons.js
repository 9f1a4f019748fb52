// Small drawings of our own beside words; never alone, so that they say nothing to a screen reader.

const SVG = "http://www.w3.org/2000/svg";
const PATHS = {
  microphone: "M12 3a3 3 0 0 0-3 3v6a3 3 0 0 0 6 0V6a3 3 0 0 0-3-3zM5 11.5a7 7 0 0 0 14 0M12 18.5V22M8 22h8",
  halt: "M6 6h12v12H6z",
  camera: "M3 8h4l2-3h6l2 3h4v11H3zM12 10a3.5 3.5 0 1 0 0 7 3.5 3.5 0 0 0 0-7z",
  yes: "M4 13l5.5 5.5L20 6.5",
  no: "M6 6l12 12M18 6L6 18",
  pencil: "M4 20l1-5L16 4l4 4L9 19zM13.5 6.5l4 4",
  keys: "M3 6h18v12H3zM7 10h.01M11 10h.01M15 10h.01M7 14h10",
  more: "M5 12h.01M12 12h.01M19 12h.01",
  meter: "M4 4h16v16H4zM7 7h10v5H7zM12 15.5h.01M8.5 16h.01M15.5 16h.01",
  axes: "M5 3v16h16M5 19l9-9M14 10h-4M14 10v4M2.5 5.5L5 3l2.5 2.5M18.5 16.5L21 19l-2.5 2.5",
  check: "M4 5h10M4 10h7M4 15h5M11 17l3.5 3.5L21 12",
  report: "M6 2h9l4 4v16H6zM15 2v4h4M9 11h7M9 15h7M9 19h4",
  warning: "M12 3L2 20.5h20zM12 9.5v5M12 17.5h.01",
  bolt: "M13 2L5 14h6l-1 8 9-13h-6z",
  clip: "M9 18V6l10-2v12M9 18a2.5 2.5 0 1 1-5 0 2.5 2.5 0 0 1 5 0zM19 16a2.5 2.5 0 1 1-5 0 2.5 2.5 0 0 1 5 0z",
  files: "M4 7h6l2 2h8v11H4zM4 7V4h6l2 2",
  settings: "M4 7h9M17 7h3M4 17h3M11 17h9M15 4.5v5M9 14.5v5",
  screen: "M3 9V3h6M15 3h6v6M21 15v6h-6M9 21H3v-6",
};

/** The drawing of that name. */
export function icon(name) {
  const drawing = document.createElementNS(SVG, "svg");
  for (const [key, value] of Object.entries({ viewBox: "0 0 24 24", class: "icon", "aria-hidden": "true", focusable: "false" })) drawing.setAttribute(key, value);
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", PATHS[name]);
  drawing.append(path);
  return drawing;
}
