"""Where the dialogue stands, as every open page shows it: the open question, those that wait, the discharge."""

from __future__ import annotations

from sqlmodel import Session

from api.dialogue.attention import seconds_to_rest
from api.dialogue.events import Question, SafetyQuestion
from api.dialogue.sentences import safety_words
from api.dialogue.turn import standing_of
from api.ledger.canonical import JsonObject
from api.ledger.clock import seconds_between
from api.ledger.tables import DialogueStateRow
from api.visit.jobs import job_of
from api.visit.proposals import Proposal, proposals_of
from api.visit.safety_steps import STEP_BY_ID
from capture.language.short import short_question


def dialogue_for_page(session: Session, job_id: str, now: str) -> JsonObject:
    """Give the state of a job's dialogue.

    Args:
        session: One consistent snapshot.
        job_id: The job.
        now: UTC instant, for what is left of a discharge.

    Returns:
        `state` ("paused", "noting", "asking", "ready", "resting"), `message` said last and `updated_at`, `questions` in
        order (the first is open), `said_twice` (whether a value heard once is confirmed by saying it again), `rests`
        (whether it comes to rest between readings) and `rests_in_s` (0 at rest, None where it listens on), `discharge`
        with `axis`, `seconds` and `left_s`, or None.

    Raises:
        NoSuchJob: There is no such job.
    """
    job_of(session, job_id)
    standing = standing_of(session, job_id)
    row = session.get_one(DialogueStateRow, job_id)
    state = standing.state
    proposals = {proposal.id: proposal for proposal in proposals_of(session, job_id, "open")}
    discharge = standing.discharge
    left = 0 if discharge is None else discharge.seconds - int(seconds_between(discharge.since, now))
    rests_in = seconds_to_rest(standing, now)
    named = "paused" if state.paused else "noting" if state.noting else "asking" if state.questions else "ready"
    return {
        "state": "resting" if rests_in == 0 else named,
        "message": row.message,
        "updated_at": row.updated_at,
        "said_twice": standing.twice,
        "rests": standing.rests,
        "rests_in_s": rests_in,
        "questions": [_question(question, proposals) for question in state.questions],
        "discharge": None
        if discharge is None or left <= 0
        else {"axis": discharge.axis, "seconds": discharge.seconds, "left_s": left},
    }


def _question(question: Question, proposals: dict[str, Proposal]) -> JsonObject:
    if isinstance(question, SafetyQuestion):
        step = STEP_BY_ID[question.step]
        return {
            "kind": "safety",
            "axis": question.axis,
            "step": question.step,
            "text": safety_words(question),
            "may_not_apply": step.may_not_apply,
            "value_unit": step.value_unit,
        }
    asked = [proposals[value.proposal] for value in question.values if value.proposal in proposals]
    twice = {value.proposal for value in question.values if value.twice}
    text = " ".join(
        short_question(one.reading, one.doubts, one.alternatives, twice=one.id in twice, noted=one.notes.words)
        for one in asked
    )
    return {"kind": "value", "proposals": [one.id for one in asked], "text": text}
