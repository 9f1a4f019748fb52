"""A value that waits under the wrong job is moved to the right one: dropped here, proposed there, with its evidence."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sqlmodel import Session, col, select

from api.dialogue.errors import AlreadyUnderJob
from api.dialogue.proposal_updates import beside_rivals, reject
from api.dialogue.turn import Turn, begin_turn
from api.ledger.canonical import JsonObject, parsed
from api.ledger.database import Transaction
from api.ledger.evidence import captures_of
from api.ledger.tables import CaptureRow, EvidenceRow, ProposalRow, TrailEntryRow
from api.ledger.trail import What
from api.visit.notes import Notes
from api.visit.proposals import (
    Proposal,
    ProposedReading,
    proposal_for_page,
    proposal_of,
    require_open,
    set_value,
)
from api.visit.records import Decision, put_event
from capture.reading import Doubt, Reading
from grading.shop import ShopProfile


def move(
    transaction: Transaction,
    proposal_id: str,
    job_id: str,
    revision: int | None,
    decision: Decision,
    profile: ShopProfile | None = None,
) -> JsonObject:
    """Move an open proposal to another job, where its place is asked about and nothing is a record before its yes.

    Args:
        transaction: The writing transaction.
        proposal_id: The proposal.
        job_id: The job to which it belongs.
        revision: The revision that the person saw, or None.
        decision: Who, when, how.
        profile: The shop's own limits.

    Returns:
        The turn of the job that it leaves, as the page shows it; `moved` is the proposal under the other job.

    Raises:
        AlreadyUnderJob: Both jobs are the same.
        NoSuchJob, JobNotOpen: Of the other job.
        ProposalSettled: It is confirmed or rejected.
        ProposalChanged: The revision is another one.
        NoSuchProposal: There is no such proposal.
    """
    proposal = proposal_of(transaction.session, proposal_id)
    own = proposal.row.job_id
    if own == job_id:
        raise AlreadyUnderJob(job_id=job_id)
    here = begin_turn(transaction, own, profile, decision.captured_at)
    there = begin_turn(transaction, job_id, profile, decision.captured_at)
    require_open(proposal, revision)
    proposal = next(one for one in here.waiting if one.id == proposal_id)  # the turn's own, which is written
    for capture in _captures(here.session, proposal):
        _copy_capture(here, there, capture)
    moved = _moved(there, proposal)
    transaction.put(moved.stored())
    put_event(transaction, job_id, "move", decision, proposal=moved, detail={"moved_from": proposal.id})
    there.keep(What.PROPOSED, moved, by=decision.by, note={"source": moved.row.source, "moved_from": proposal.id})
    reject(here, proposal, replace(decision, words=f"moved to {moved.id}"))
    here.say(f"Moved to {moved.id}. Its place is asked about there.")
    here.close()
    return {**here.for_page(), "moved": proposal_for_page(moved)}


def _moved(there: Turn, proposal: Proposal) -> Proposal:
    """Make the proposal of the other job, with what was heard and seen for the one that moves."""
    # Who moves it says which machine it is of, not that axis and part were heard rightly. What stands on record of a
    # point of this job bears on nothing there.
    beside = Doubt.CONTRADICTED in proposal.doubts
    doubts = tuple(doubt for doubt in proposal.doubts if doubt not in (Doubt.CONTRADICTED, Doubt.PLACE_UNSURE))
    given = ProposedReading(
        _placed(proposal.reading, there),
        (*doubts, Doubt.PLACE_UNSURE),
        () if beside else proposal.alternatives,
        float(proposal.row.confidence),
        notes=proposal.notes,
    )
    given, supersedes = beside_rivals(there, given)
    transaction = there.transaction
    columns = {
        **proposal.row.model_dump(),
        "id": transaction.next_id(ProposalRow, there.job.id),
        "job_id": there.job.id,
        "state": "open",
        "revision": 0,
        "supersedes": supersedes,
        "instrument_id": None,
        "created_at": transaction.now,
    }
    voice = None if proposal.voice is None else _placed(proposal.voice, there)
    photo = None if proposal.photo is None else _placed(proposal.photo, there)
    moved = Proposal(ProposalRow(**columns), given.reading, Notes(), (), (), voice, photo)
    set_value(moved, given, there.job, proposal.row.captured_at, transaction.now)
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
