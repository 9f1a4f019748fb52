"""Records: what a person confirmed. Never changed; a correction supersedes, an undo withdraws, both by new rows."""

from __future__ import annotations

from typing import Any

from sqlmodel import Session, select

from api.ledger.canonical import canonical
from api.ledger.clock import seconds_between
from api.ledger.columns import NoteColumns, ReadingColumns, SourceColumns
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import ConfirmationEventRow, ProposalRow, RecordRow, SafetyAnswerRow
from api.ledger.trail import What
from api.visit.errors import (
    AuxiliaryLead,
    InDoubt,
    NoSuchRecord,
    RecordNotCurrent,
    RecordWithdrawn,
    SafetyOpen,
    SaidBefore,
)
from api.visit.notes import notes_of
from api.visit.proposals import doubts_of, require_open
from api.visit.readings import reading_of
from api.visit.safety import auxiliary_lead, is_gated, open_steps
from capture.language.prompts import question


class Decision:
    """How a person decided: by voice, tap or typing, when, with which words."""

    def __init__(self, how: str, by: str, captured_at: str, words: str = "", clip_sha256: str | None = None) -> None:
        """Keep the parts; `how` is "spoken", "tapped" or "typed"."""
        self.how = how
        self.by = by
        self.captured_at = captured_at
        self.words = words
        self.clip_sha256 = clip_sha256


def put_event(
    transaction: Transaction,
    job_id: str,
    action: str,
    decision: Decision,
    *,
    proposal: ProposalRow | None = None,
    record_id: str | None = None,
    detail: dict[str, Any] | None = None,
) -> ConfirmationEventRow:
    """Write what a person decided; the caller writes the trail entry."""
    event = ConfirmationEventRow(
        id=transaction.next_id(ConfirmationEventRow, job_id),
        job_id=job_id,
        proposal_id=None if proposal is None else proposal.id,
        record_id=record_id,
        action=action,
        how=decision.how,
        revision=None if proposal is None else proposal.revision,
        words=decision.words,
        clip_sha256=decision.clip_sha256,
        by=decision.by,
        detail_json=canonical(detail or {}),
        captured_at=decision.captured_at,
        at=transaction.now,
    )
    transaction.put(event)
    return event


def check_confirmable(session: Session, row: ProposalRow, revision: int | None, spoken_at: str | None = None) -> None:
    """Refuse to confirm what a person cannot have meant, or what the safety gate holds.

    Args:
        session: Where to look.
        row: The proposal.
        revision: The revision that the person saw or heard.
        spoken_at: When the person said yes, by the device's clock; None for a tap, which names the revision it saw.

    Raises:
        Refused: With what to do.
    """
    require_open(row, revision)
    if spoken_at is not None and seconds_between(row.changed_captured, spoken_at) < 0:
        raise SaidBefore()
    reading, doubts = reading_of(row), doubts_of(row)
    if doubts:
        raise InDoubt(question=question(reading, doubts, ()))
    if row.supersedes is not None and (problem := supersede_problem(session, record_of(session, row.supersedes))):
        raise problem
    lead = auxiliary_lead(reading)
    if lead is not None:
        raise AuxiliaryLead(lead=lead)
    steps = open_steps(session, f"{row.job_id}-{reading.axis}") if is_gated(reading) else ()
    if steps:
        raise SafetyOpen(count=len(steps), axis=reading.axis, question=steps[0].question)


def _note(session: Session, row: ProposalRow) -> str:
    reading = reading_of(row)
    if not is_gated(reading):
        return ""
    answers = session.exec(select(SafetyAnswerRow).where(SafetyAnswerRow.axis_id == f"{row.job_id}-{reading.axis}"))
    late = any(seconds_between(row.captured_at, answer.captured_at) > 0 for answer in answers)
    return "A safety step of this axis was answered after this reading was taken." if late else ""


def confirm(transaction: Transaction, row: ProposalRow, decision: Decision, revision: int | None) -> RecordRow:
    """Make a record of a proposal, by a person's word.

    Raises:
        Refused: See `check_confirmable`; nothing is written then.
    """
    spoken_at = decision.captured_at if decision.how == "spoken" else None
    check_confirmable(transaction.session, row, revision, spoken_at)
    event = put_event(transaction, row.job_id, "confirm", decision, proposal=row)
    bases = (ReadingColumns, SourceColumns, NoteColumns)
    columns = {name: getattr(row, name) for base in bases for name in base.model_fields}
    record = RecordRow(
        **columns,
        id=transaction.next_id(RecordRow, row.job_id),
        job_id=row.job_id,
        proposal_id=row.id,
        confirmation_id=event.id,
        supersedes=row.supersedes,
        confirmed_how=decision.how,
        confirmed_by=decision.by,
        confirmed_at=transaction.now,
        note=_note(transaction.session, row),
    )
    row.state = "confirmed"
    transaction.put(row)
    transaction.put(record)
    transaction.entry(What.CONFIRMED, row.job_id, by=decision.by, note={"words": decision.words})
    return record


def withdraw(transaction: Transaction, record: RecordRow, decision: Decision) -> ConfirmationEventRow:
    """Take a record back by a new event; the record stays where it is.

    Raises:
        RecordWithdrawn: It is withdrawn already.
    """
    if record.id in withdrawn_ids(transaction.session, record.job_id):
        raise RecordWithdrawn(record_id=record.id)
    event = put_event(transaction, record.job_id, "withdraw", decision, record_id=record.id)
    transaction.entry(What.UNDONE, record.job_id, by=decision.by, note={"record": record.id, "words": decision.words})
    return event


def record_of(session: Session, record_id: str) -> RecordRow:
    """A record by its id.

    Raises:
        NoSuchRecord: There is no such record.
    """
    row = session.get(RecordRow, record_id)
    if row is None:
        raise NoSuchRecord(record_id=record_id)
    return row


def withdrawn_ids(session: Session, job_id: str) -> set[str]:
    """Records of a job that were taken back."""
    statement = select(ConfirmationEventRow.record_id).where(
        ConfirmationEventRow.job_id == job_id, ConfirmationEventRow.action == "withdraw"
    )
    return {found for found in session.exec(statement).all() if found is not None}


def all_records(session: Session, job_id: str) -> list[RecordRow]:
    """Every record of a job, superseded and withdrawn ones too, in the order confirmed."""
    return in_order(session.exec(select(RecordRow).where(RecordRow.job_id == job_id)).all())


def standing(session: Session, job_id: str) -> dict[str, str]:
    """How each record of a job stands: "current", "superseded" or "withdrawn".

    A record is superseded only by one that is not itself withdrawn: undoing a correction brings the old value back.
    """
    records, withdrawn = all_records(session, job_id), withdrawn_ids(session, job_id)
    replaced = {record.supersedes for record in records if record.id not in withdrawn}
    return {
        record.id: "withdrawn" if record.id in withdrawn else "superseded" if record.id in replaced else "current"
        for record in records
    }


def current_records(session: Session, job_id: str) -> list[RecordRow]:
    """The records in force, in the order confirmed."""
    states = standing(session, job_id)
    return [record for record in all_records(session, job_id) if states[record.id] == "current"]


def supersede_problem(session: Session, record: RecordRow) -> RecordNotCurrent | None:
    """Why a record cannot be corrected, or None."""
    state = standing(session, record.job_id)[record.id]
    if state == "current":
        return None
    return RecordNotCurrent(record_id=record.id, state=state)


def record_for_page(record: RecordRow, state: str) -> dict[str, Any]:
    """A record as the page shows it."""
    return {
        **record.model_dump(exclude={"circumstances_json"}),
        **notes_of(record).to_json(),
        "display": reading_of(record).quantity.display(),
        "standing": state,
        "evidence": [sha for sha in (record.clip_sha256, record.photo_sha256, record.crop_sha256) if sha],
    }
