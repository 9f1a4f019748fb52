// One proposal: what was understood, what is in doubt, and the answers a person can give.

import { el, say } from "./dom.js";
import { dropDraft, keepDraft } from "./drafts.js";
import { changed, readingForm } from "./form.js";
import { proofs } from "./proof.js";
import { readBack, tone } from "./readback.js";
import { act } from "./outbox.js";
import { DOUBTS, KINDS, LOOK_AGAIN, SECTIONS, UNITS, UNIT_DOUBTS, USUAL_UNITS, conditions, place, shown } from "./words.js";

/**
 * A proposal's card.
 * @param {object} proposal as the server gives it
 * @param {object} job for the names of its axes
 * @param {() => Promise<void>} refresh called after an answer
 * @param {(answer: object) => void} tell shows and says what followed
 * @param {import("./questions.js").SafetyCard} questions asks the safety questions
 * @param {(sha256: string) => void} mark called where the person wants to show where the display is in the photo
 * @param {(error: Error) => void} stops called with what kept an answer from being taken
 */
export function proposalCard(proposal, job, refresh, mark, tell, questions, stops) {
  const path = `/api/proposals/${encodeURIComponent(proposal.id)}`;
  const draft = `${proposal.id}.correct`;
  const answer = async (action, body, words) => {
    try {
      if (action === "confirm" && proposal.kind === "insulation_resistance" && !(await questions.ask(proposal.axis))) return;
      if (action === "correct") dropDraft(draft);
      const result = await act(job.id, `${path}/${action}`, { ...body, revision: proposal.revision, how: "tapped" }, `${action}: ${proposal.display || proposal.id}`);
      if (result.waiting) { say("Kept here; sent when the server is back."); return; }
      say(words);
      tell(result);
    } catch (error) {
      refused.textContent = error.message;
      tone("not_understood").then(() => readBack(error.message));
      stops(error);
    }
    await refresh();
  };
  const refused = el("p.refused", { role: "alert" });
  const doubts = proposal.doubts || [];
  const card = el("section.card.proposal", { "data-proposal": proposal.id, "aria-label": `Proposal ${proposal.id}` },
    el("p.place", {}, place(proposal)),
    el("p.soft", {}, [KINDS[proposal.kind] || "Quantity not said", conditions(proposal)].filter(Boolean).join(", ")),
    el("p.value", {}, proposal.display || shown(proposal)),
    el("p.sentence", {}, proposal.read_back),
    proposal.supersedes ? el("p.soft", {}, `Would replace record ${proposal.supersedes}.`) : null,
    doubts.length ? el("ul.doubts", {}, doubts.map((d) => el("li", {}, DOUBTS[d] || d))) : null,
    proposal.heard_text ? el("p.soft", {}, `Heard: “${proposal.heard_text}”`) : null,
    proposal.seen_text ? el("p.soft", {}, `Seen: “${proposal.seen_text}”`) : null,
    proofs(proposal, false),
    proposal.photo_sha256 ? el("button", { type: "button", "data-mark": proposal.photo_sha256, onclick: () => mark(proposal.photo_sha256) }, "Mark the display in the photo") : null,
    unitChoice(proposal, answer),
    placeChoice(proposal, job, answer),
    lookedAgain(proposal, answer),
    proposal.kind === "insulation_resistance" ? el("p.caution", {}, el("strong", {}, "Still charged: "), "discharge at least four times the test time, measure, then earth, before you touch the leads.") : null,
    whichOne(proposal, answer),
    refused,
    el("div.answers", {},
      el("button.main", { type: "button", disabled: doubts.length > 0, onclick: () => answer("confirm", {}, `Confirmed: ${proposal.display}.`) },
        doubts.length ? "Settle the question first" : "✓ Confirm"),
      el("button", { type: "button", "aria-expanded": "false", onclick: (event) => {
        const form = card.querySelector("form");
        form.hidden = !form.hidden;
        event.currentTarget.setAttribute("aria-expanded", String(!form.hidden));
        if (!form.hidden) form.querySelector("input").focus();
      } }, "Correct"),
      el("button.warn", { type: "button", onclick: () => answer("reject", {}, "Rejected. The clip and photo are kept.") }, "Reject")),
    readingForm(proposal, job, (reading) => answer("correct", { reading: changed(proposal, reading) }, "Corrected. Read it again, then confirm."), true));
  card.answer = answer;
  const form = card.querySelector("form");
  if (keepDraft(form, draft)) form.hidden = false;
  const note = el("p.soft.waits", { role: "status", hidden: true });
  card.prepend(note);
  /** Show that an answer to it waits; until it is sent no other is taken here. */
  card.waits = (items) => {
    const [, waiting] = items.find(([, item]) => !item.refused && item.path && item.path.startsWith(`${path}/`)) || [];
    card.waiting = Boolean(waiting);
    note.hidden = !waiting;
    note.textContent = waiting ? `Answered here (${waiting.words}); waits for the server.` : "";
    for (const part of card.querySelectorAll(".answers, .choices, form")) part.inert = Boolean(waiting);
  };
  return card;
}

/** What is to be settled first before it can be confirmed: the doubt in words and what to tap, one thing at a time. */
export function settling(proposal, job, answer) {
  const doubts = proposal.doubts || [];
  const charged = proposal.kind === "insulation_resistance" ? el("p.charged", {}, el("strong", {}, "Still charged: "), "discharge, measure, then earth, before you touch the leads.") : null;
  if (!doubts.length) return [charged];
  const [choice] = [whichOne(proposal, answer), unitChoice(proposal, answer), placeChoice(proposal, job, answer), lookedAgain(proposal, answer)].flat().filter(Boolean);
  const asked = (choice && choice.dataset.asked) || DOUBTS[doubts[0]] || doubts[0];
  return [el("p.doubts", {}, asked, el("span.soft", {}, choice ? " Say it, or tap it." : " Say it, or press Correct."), doubts.length > 1 ? el("span.soft", {}, ` ${doubts.length - 1} more after this.`) : null), choice, charged];
}

function whichOne(proposal, answer) {
  if ((proposal.choices || []).length < 2) return null;
  return el("div.choices", { "data-asked": "Which one?" }, el("p.place", {}, "Which one?"),
    proposal.choices.map((c) => el("button", { type: "button", onclick: () => answer("choose", { index: c.index }, `Chosen: ${c.display}. Now confirm it.`) }, c.display)));
}

function lookedAgain(proposal, answer) {
  const doubts = proposal.doubts || [];
  if ((proposal.choices || []).length > 1 || !doubts.length || !doubts.every((d) => LOOK_AGAIN.includes(d)) || proposal.value === null) return null;
  return el("button", { type: "button", onclick: () => answer("choose", { index: 0 }, `Taken as it stands: ${proposal.display}. Now confirm it.`) }, `I looked again: it shows ${proposal.display}`);
}

/** The units to tap where the unit is missing or in doubt. */
function unitChoice(proposal, answer) {
  if (!(proposal.doubts || []).some((d) => UNIT_DOUBTS.includes(d)) || proposal.value === null) return null;
  const units = [...new Set([proposal.unit, ...(USUAL_UNITS[proposal.kind] || USUAL_UNITS.null)])].filter(Boolean);
  return el("div.choices.units", { role: "group", "aria-label": "Unit", "data-asked": "Which unit?" }, el("p.place", {}, "In which unit? Say it, or tap it."),
    el("div.row", {}, units.map((u) => el("button", { type: "button", "data-unit": u, onclick: () => answer("correct", { reading: { unit: u } }, `${proposal.value} ${UNITS[u]}. Now confirm it.`) }, UNITS[u]))));
}

/** The axes, parts and tests to tap where one of them was not said. */
function placeChoice(proposal, job, answer) {
  const lacks = (doubt) => (proposal.doubts || []).includes(doubt);
  const names = job.axes.map((a) => [a.name, `Axis ${a.name}`]);
  const measured = ["insulation_resistance", "resistance_to_ground", "winding_resistance", "continuity"].map((k) => [k, KINDS[k]]);
  const rows = [lacks("axis_missing") && ["Which axis?", "axis", names], lacks("section_missing") && ["Which part?", "section", Object.entries(SECTIONS)], lacks("quantity_missing") && ["What was measured?", "kind", measured]].filter(Boolean);
  return rows.map(([asked, field, choices]) => el("div.choices.units", { role: "group", "aria-label": asked, "data-asked": asked }, el("p.place", {}, `${asked} Say it, or tap it.`),
    el("div.row", {}, choices.map(([value, label]) => el("button", { type: "button", [`data-${field}`]: value, onclick: () => answer("correct", { reading: { [field]: value } }, `${label}. Now confirm it.`) }, label)))));
}
