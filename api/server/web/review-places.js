// The place of values that nobody could be asked about when they were said: one key settles a whole stretch of them.

import { SECTIONS, place } from "./words.js";

const MOST = 9;

/**
 * Give the values that stand or fall together with one as to their place: next to it in time, in doubt, and under the
 * same axis and part.
 * @param {object[]} open proposals that wait, in any order
 * @param {object} one of them
 */
export function stretchOf(open, one) {
  const inTime = [...open].sort((a, b) => Date.parse(a.captured_at) - Date.parse(b.captured_at));
  const at = inTime.findIndex((p) => p.id === one.id);
  const joins = (p) => p.doubts.includes("place_unsure") && p.axis === one.axis && p.section === one.section;
  let first = at, last = at;
  while (first > 0 && joins(inTime[first - 1])) first -= 1;
  while (last < inTime.length - 1 && joins(inTime[last + 1])) last += 1;
  return inTime.slice(first, last + 1);
}

/** List where a stretch may stand: as it does, then the other parts of its axis, then the other axes of the job. */
export function placesFor(job, one) {
  const names = job.axes.map((axis) => axis.name);
  const axes = names.includes(one.axis) ? [one.axis, ...names.filter((name) => name !== one.axis)] : names;
  const parts = Object.keys(SECTIONS);
  const sections = parts.includes(one.section) ? [one.section, ...parts.filter((part) => part !== one.section)] : parts;
  return axes.flatMap((axis) => sections.map((section) => ({ axis, section }))).slice(0, MOST);
}

/** Give the values that move to another job with one: its stretch where the place is in doubt, else itself alone. */
export const movedWith = (open, one) => (one.doubts.includes("place_unsure") ? stretchOf(open, one) : [one]);

/** List the open jobs that a value may belong to instead, newest first. */
export function otherJobs(jobs, own) {
  const number = (job) => Number(job.id.slice(1));
  return jobs.filter((job) => job.state === "open" && job.id !== own.id).sort((a, b) => number(b) - number(a)).slice(0, MOST);
}

/** Word an answer: "All 4: Axis X, motor alone". */
export function placeLabel(where, count) {
  return `${count > 1 ? `All ${count}: ` : ""}${place({ ...where, terminals: null })}`;
}
