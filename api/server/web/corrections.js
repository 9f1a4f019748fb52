// Correct a record or withdraw it: both are new entries, the old one stays.

import { el, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { changed, readingForm } from "./form.js";
import { act as send } from "./outbox.js";

const draftOf = (record) => `${record.id}.correct`;

async function act(record, job, path, body, words, refresh) {
  try {
    const sent = await send(job.id, path, body, `${record.id}: ${path.endsWith("withdraw") ? "withdraw" : "correct"}`);
    dropDraft(draftOf(record));
    say(sent.waiting ? "Kept here; sent when the server is back." : words);
  } catch (error) { say(error.message, "error"); }
  await refresh();
}

/** Propose what a record should have said; it must be confirmed like any value. */
export const correctRecord = (record, job, after, refresh) => act(record, job, `/api/jobs/${encodeURIComponent(job.id)}/typed`,
  { ...changed(record, after), supersedes: record.id }, "Read the new value, then confirm it. The old one stays on file.", refresh);

/** The two ways to change a record, folded. */
export function changes(record, job, refresh) {
  const form = readingForm(record, job, (after) => correctRecord(record, job, after, refresh), true);
  const begun = keepDraft(form, draftOf(record));
  form.hidden = !begun;
  const back = el("button.warn", { type: "button", onclick: () => {
    if (back.dataset.sure) act(record, job, `/api/records/${encodeURIComponent(record.id)}/withdraw`, {}, `${record.id} is withdrawn. It stays on file.`, refresh);
    back.dataset.sure = "yes";
    back.textContent = "Press again to withdraw it";
  } }, "Withdraw");
  return el("details.changes", { id: `changes-${record.id}`, open: begun }, el("summary", {}, "Wrong?"),
    el("div.row", {}, el("button", { type: "button", onclick: () => { form.hidden = !form.hidden; } }, "Correct"), back), form);
}
