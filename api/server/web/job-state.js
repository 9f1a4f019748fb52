// On a job's page: whether it takes readings, which kinds of motor are asked for, and the way to all about it.

import { el } from "./dom.js";
import { look } from "./seen.js";

const WORDS = { closed: "This job is closed. It takes no readings, answers or changes until it is reopened.", archived: "This job is archived: closed, and out of the list." };

/** Say where the work is that a job takes nothing, and among its axes how to correct it. */
export async function showState(main, id) {
  const job = await look(`/api/jobs/${encodeURIComponent(id)}`);
  if (!main.isConnected) return;
  document.body.dataset.job = job.state;
  const line = (words, more, props = {}) => el(`p.job-state${words ? ".wanted" : ""}`, props, words, words ? " " : "", el("a", { href: `#/about/${encodeURIComponent(id)}` }, more));
  const unknown = job.axes.filter((axis) => axis.motor_kind === "unknown").map((axis) => axis.name);
  const asks = job.state === "open" && unknown.length ? `Which kind of motor is on ${unknown.length === 1 ? "axis" : "axes"} ${unknown.join(", ")}? Until that is known, the plan holds what every kind has.` : "";
  const axes = main.querySelector(".axes-place") || main;
  axes.prepend(line(asks, asks ? "Details, to say which" : "Details, plates, correct or close this job", { id: "job-details" }));
  if (WORDS[job.state]) (main.querySelector(".alarms") || main).prepend(line(WORDS[job.state], "Details, to reopen it", { id: "job-state" }));
}

/** Leave a job's page. */
export function leaveState() { delete document.body.dataset.job; }
