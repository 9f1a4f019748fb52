// One proposal: what was understood, what is in doubt, and the answers a person can give.

import { el, say } from "./dom.js";
import { changed, readingForm } from "./form.js";
import { proofs } from "./proof.js";
import { readBack } from "./readback.js";
import { now, post } from "./server.js";
import { DOUBTS, KINDS, conditions, place, shown } from "./words.js";

/**
 * A proposal's card.
 * @param {object} proposal as the server gives it
 * @param {object} job for the names of its axes
 * @param {() => Promise<void>} refresh called after an answer
 */
export function proposalCard(proposal, job, refresh) {
  const path = `/api/proposals/${encodeURIComponent(proposal.id)}`;
  const answer = async (action, body, words) => {
    try {
      const result = await post(`${path}/${action}`, { ...body, revision: proposal.revision, how: "tapped", captured_at: now() });
      say(words);
      const sentence = result && result.message;
      if (sentence) readBack(sentence);
    } catch (error) {
      refused.textContent = error.message;
      readBack(error.message);
      if (error.code === "safety_open") openSafety(proposal.axis);
    }
    await refresh();
  };
  const refused = el("p.refused", { role: "alert" });
  const doubts = proposal.doubts || [];
  const others = (proposal.choices || []).slice(1);
  const card = el("section.card.proposal", { "data-proposal": proposal.id, "aria-label": `Proposal ${proposal.id}` },
    el("p.place", {}, place(proposal)),
    el("p.soft", {}, [KINDS[proposal.quantity] || "Quantity not said", conditions(proposal)].filter(Boolean).join(", ")),
    el("p.value", {}, proposal.display || shown(proposal)),
    el("p.sentence", {}, proposal.read_back),
    proposal.supersedes ? el("p.soft", {}, `Would replace record ${proposal.supersedes}.`) : null,
    doubts.length ? el("ul.doubts", {}, doubts.map((d) => el("li", {}, DOUBTS[d] || d))) : null,
    proposal.heard_text ? el("p.soft", {}, `Heard: “${proposal.heard_text}”`) : null,
    proposal.seen_text ? el("p.soft", {}, `Seen: “${proposal.seen_text}”`) : null,
    proofs(proposal, false),
    proposal.quantity === "insulation_resistance" ? el("p.caution", {}, el("strong", {}, "Still charged: "), "discharge at least four times the test time, measure, then earth, before you touch the leads.") : null,
    others.length ? el("div.choices", {}, el("p.place", {}, "Which one?"),
      proposal.choices.map((c) => el("button", { type: "button", onclick: () => answer("choose", { index: c.index }, `Chosen: ${c.display}. Now confirm it.`) }, c.display))) : null,
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
  return card;
}

/** Lead to the safety questions of an axis. */
function openSafety(axis) {
  const part = document.getElementById(`safety-${axis}`);
  if (!part) return;
  part.open = true;
  part.scrollIntoView({ block: "start" });
}
