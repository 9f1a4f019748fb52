// The test plan of an axis: what is still to be measured, in order, and why.

import { el } from "./dom.js";
import { KINDS, SECTIONS, point } from "./words.js";

/** The points that are left, or why none is. */
export function planPart(axis, plan) {
  const left = plan.tasks.filter((t) => t.state === "next" || t.state === "due");
  return el("details.plan", { id: `plan-${axis.name}` },
    el("summary", {}, left.length ? `Test plan: ${left.length} ${left.length === 1 ? "point" : "points"} left` : "Test plan done"),
    left.length ? el("ol.steps", {}, left.map((t) => el("li", {}, task(t)))) : el("p.soft", {}, plan.stop));
}

function task(t) {
  const volts = t.test_voltage ? `${t.test_voltage} V for ${t.seconds} s` : null;
  const places = t.positions > 1 ? `${t.positions} shaft positions` : null;
  return [el("strong", {}, [SECTIONS[t.section], KINDS[t.kind], point(t.terminals), volts, places].filter(Boolean).join(", ")),
    " ", el("span.soft", {}, [t.reason, ...t.prepare].join(" "))];
}
