"""A value that waits under the wrong job is moved to the right one: dropped here, proposed there, with its evidence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sqlmodel import Session, col, select

from api.dialogue.errors import AlreadyUnderJob
from api.dialogue.proposal_updates import beside_rivals, reject
from api.dialogue.turn import Turn
from api.ledger.canonical import JsonObject, parsed
from api.ledger.evidence import captures_of
from api.ledger.tables import CaptureRow, EvidenceRow, TrailEntryRow
from api.ledger.trail import What
from api.visit.proposals import Proposal, ProposedReading, moved_proposal, proposal_of, require_open
from api.visit.records import Decision, put_event
from capture.reading import Doubt, Reading


def move(here: Turn, there: Turn, proposal_id: str, revision: int | None, decision: Decision) -> Proposal:
    """Move an open proposal to another job, where its place is asked about and nothing is a record before its yes.

    Args:
        here: The turn of the job under which it waits.
        there: The turn of the job to which it belongs, in the same transaction.
        proposal_id: The proposal.
        revision: The revision that the person saw, or None.
        decision: Who, when, how.

    Returns:
        The proposal under the other job.

    Raises:
        AlreadyUnderJob: Both jobs are the same.
        ProposalSettled: It is confirmed or rejected.
        ProposalChanged: The revision is another one.
        NoSuchProposal: There is no such proposal.
    """
    if here.job.id == there.job.id:
        raise AlreadyUnderJob(job_id=here.job.id)
    proposal = next((one for one in here.waiting if one.id == proposal_id), None)
    proposal = proposal_of(here.session, proposal_id) if proposal is None else proposal
    require_open(proposal, revision)
    for capture in _captures(here.session, proposal):
        _copy_capture(here, there, capture)
    reading = _placed(proposal.reading, there)
    # Who moves it says which machine it is of, not that axis and part were heard rightly. What stands on record of a
    # point of this job bears on nothing there.
    beside = Doubt.CONTRADICTED in proposal.doubts
    doubts = tuple(doubt for doubt in proposal.doubts if doubt not in (Doubt.CONTRADICTED, Doubt.PLACE_UNSURE))
    given = ProposedReading(
        reading,
        (*doubts, Doubt.PLACE_UNSURE),
        () if beside else proposal.alternatives,
        float(proposal.row.confidence),
        notes=proposal.notes,
    )
    given, supersedes = beside_rivals(there, given)
    moved = moved_proposal(
        there.transaction,
        there.job,
        proposal,
        given,
        voice=None if proposal.voice is None else _placed(proposal.voice, there),
        photo=None if proposal.photo is None else _placed(proposal.photo, there),
        supersedes=supersedes,
    )
    there.transaction.put(moved.stored())
    put_event(there.transaction, there.job.id, "move", decision, proposal=moved, detail={"moved_from": proposal.id})
    there.keep(What.PROPOSED, moved, by=decision.by, note={"source": moved.row.source, "moved_from": proposal.id})
    reject(here, proposal, replace(decision, words=f"moved to {moved.id}"))
    return moved


def _placed(reading: Reading, there: Turn) -> Reading:
    """Give a reading without an axis that the other job does not have."""
    return reading if reading.axis in there.job.axis_names else replace(reading, axis=None)


def _captures(session: Session, proposal: Proposal) -> Iterator[CaptureRow]:
    """Give the captures in which a value was heard and seen, each once."""
    wanted: dict[str, None] = {}
    for sha256 in (proposal.row.clip_sha256, proposal.row.photo_sha256):
        evidence = None if sha256 is None else session.get(EvidenceRow, sha256)
        if evidence is not None:
            wanted[evidence.parent_sha256 or evidence.sha256] = None
    for original in wanted:
        yield from captures_of(session, proposal.row.job_id, original)[:1]


def _copy_capture(here: Turn, there: Turn, capture: CaptureRow) -> None:
    """Put a capture on record under the other job as well, with what was made of it; once."""
    if captures_of(there.session, there.job.id, capture.sha256):
        return
    transaction = there.transaction
    # The sender's id stays with the first arrival: what is sent again under it belongs there.
    columns = {**capture.model_dump(), "client_id": None, "received_at": transaction.now}
    columns |= {"id": transaction.next_id(CaptureRow, there.job.id), "job_id": there.job.id}
    copy = CaptureRow(**columns)
    transaction.put(copy)
    what, note = _recognised(here.session, capture)
    transaction.entry(what, there.job.id, note={**note, "capture": copy.id, "copied_from": capture.id})


def _recognised(session: Session, capture: CaptureRow) -> tuple[What, JsonObject]:
    """Give what the trail notes of the newest reading of a capture."""
    kinds = (What.RECOGNISED, What.NOT_RECOGNISED)
    statement = select(TrailEntryRow).where(
        TrailEntryRow.job_id == capture.job_id, col(TrailEntryRow.what).in_([kind.value for kind in kinds])
    )
    for entry in session.exec(statement.order_by(col(TrailEntryRow.seq).desc())):
        note = parsed(entry.body)["note"]
        if isinstance(note, dict) and note.get("capture") == capture.id:
            return What(entry.what), note
    return What.RECOGNISED, {}
