// On a job's page: whether it takes readings, and the way to all about it.

import { el } from "./dom.js";
import { look } from "./seen.js";

const WORDS = { closed: "This job is closed. It takes no readings, answers or changes until it is reopened.", archived: "This job is archived: closed, and out of the list." };

/** Put a line about the job's state into a part of its page; a job that is not open shows no controls there. */
export async function showState(part, id) {
  const job = await look(`/api/jobs/${encodeURIComponent(id)}`);
  document.body.dataset.job = job.state;
  const unknown = job.axes.filter((axis) => axis.motor_kind === "unknown").map((axis) => axis.name);
  const asks = job.state === "open" && unknown.length ? `Which kind of motor is on ${unknown.length === 1 ? "axis" : "axes"} ${unknown.join(", ")}? Until that is known, the plan holds what every kind has.` : "";
  const about = el("a", { href: `#/about/${encodeURIComponent(id)}` }, WORDS[job.state] ? "Details, to reopen it" : asks ? "Details, to say which" : "Details, plates, correct or close this job");
  part.append(el(`p.job-state${WORDS[job.state] || asks ? ".wanted" : ""}`, { id: "job-state" }, [WORDS[job.state], asks].filter(Boolean).join(" "), " ", about));
}

/** Leave a job's page. */
export function leaveState() { delete document.body.dataset.job; }
