"""Records: what a person confirmed. Never changed: a later record supersedes, an event withdraws, both by new rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlmodel import Session, select

from api.ledger.canonical import JsonObject, canonical
from api.ledger.clock import capture_remark, seconds_between, was_set_back
from api.ledger.columns import NoteColumns, ReadingColumns, SourceColumns
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import ConfirmationEventRow, RecordRow
from api.ledger.trail import What
from api.visit.changes import renamed_axes
from api.visit.errors import (
    AuxiliaryLead,
    InDoubt,
    NoSuchRecord,
    RecordNotCurrent,
    RecordWithdrawn,
    SafetyOpen,
    SaidBefore,
)
from api.visit.jobs import axis_id_of
from api.visit.notes import Notes, notes_of
from api.visit.proposals import Proposal, require_open
from api.visit.readings import reading_of
from api.visit.safety import auxiliary_lead, came_late, is_gated, open_steps
from capture.language.prompts import question
from capture.reading import Reading


@dataclass(frozen=True)
class Decision:
    """How a person decided.

    Attributes:
        how: "spoken", "tapped" or "typed".
        by: Who.
        captured_at: When, by the device's clock.
        words: What was said, tapped or typed.
        clip_sha256: The clip in which it was said, or None.
    """

    how: str
    by: str
    captured_at: str
    words: str = ""
    clip_sha256: str | None = None


@dataclass(frozen=True)
class Record:
    """A record with its columns decoded.

    Attributes:
        row: Where it is stored.
        reading: What was confirmed, of its axis as that is called now; the row bears the name of then.
        notes: What was noted beside it.
        status: "current", "superseded" or "withdrawn".
    """

    row: RecordRow
    reading: Reading
    notes: Notes
    status: str

    @property
    def id(self) -> str:
        """Its number, "J1-R3"."""
        return self.row.id


def put_event(
    transaction: Transaction,
    job_id: str,
    action: str,
    decision: Decision,
    *,
    proposal: Proposal | None = None,
    record_id: str | None = None,
    detail: Mapping[str, object] | None = None,
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


def check_confirmable(session: Session, proposal: Proposal, revision: int | None, spoken_at: str | None = None) -> None:
    """Refuse to confirm what a person cannot have meant, or what the safety gate holds.

    Args:
        session: Where to look.
        proposal: The proposal.
        revision: The revision that the person saw or heard.
        spoken_at: When the person said yes, by the device's clock; None for a tap, which names the revision it saw.

    Raises:
        Refused: With what to do: `ProposalSettled`, `ProposalChanged`, `SaidBefore`, `InDoubt`, `RecordNotCurrent`,
            `AuxiliaryLead` or `SafetyOpen`.
    """
    require_open(proposal, revision)
    row, reading = proposal.row, proposal.reading
    # Clips may arrive late, from a phone's outbox: a word spoken before the value changed answered another value.
    if spoken_at is not None and seconds_between(row.changed_captured, spoken_at) < 0:
        raise SaidBefore()
    if proposal.doubts:
        raise InDoubt(question=question(reading, proposal.doubts, ()))
    # Two corrections of one record can be open side by side; once one of them is confirmed, the other has nothing to
    # replace.
    if row.supersedes is not None:
        require_current(record_of(session, row.supersedes))
    if not is_gated(reading):
        return
    lead = auxiliary_lead(reading)
    if lead is not None:
        raise AuxiliaryLead(lead=lead)
    steps = open_steps(session, row.job_id, axis_id_of(session, row.job_id, reading.axis), row.captured_at)
    if steps:
        raise SafetyOpen(count=len(steps), axis=reading.axis, question=steps[0].question)


def _note(transaction: Transaction, proposal: Proposal) -> str:
    """Give what belongs beside the value: safety answered late, a capture time or a clock that can hardly be right."""
    row, remarks = proposal.row, []
    if _safety_came_late(transaction.session, proposal):
        remarks.append("A safety step of this axis was answered after this reading was taken.")
    remarks.append(capture_remark(row.captured_at, transaction.by_device(row.created_at)))
    if transaction.clock_set_back or was_set_back(row.changed_at, transaction.now):
        remarks.append("The computer's clock was set back between this reading and its confirmation.")
    return " ".join(filter(None, remarks))


def _safety_came_late(session: Session, proposal: Proposal) -> bool:
    reading, row = proposal.reading, proposal.row
    return is_gated(reading) and came_late(
        session, row.job_id, axis_id_of(session, row.job_id, reading.axis), row.captured_at
    )


def confirm(transaction: Transaction, proposal: Proposal, decision: Decision, revision: int | None) -> Record:
    """Make a record of a proposal, by a person's word.

    Raises:
        Refused: See `check_confirmable`; nothing is written then.
    """
    spoken_at = decision.captured_at if decision.how == "spoken" else None
    check_confirmable(transaction.session, proposal, revision, spoken_at)
    row = proposal.stored()
    event = put_event(transaction, row.job_id, "confirm", decision, proposal=proposal)
    bases = (ReadingColumns, SourceColumns, NoteColumns)
    # Copied, not referred to: the proposal's table may be changed, the record's is append-only.
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
        note=_note(transaction, proposal),
    )
    row.state = "confirmed"
    transaction.put(row)
    transaction.put(record)
    transaction.entry(What.CONFIRMED, row.job_id, by=decision.by, note={"words": decision.words})
    return Record(record, proposal.reading, proposal.notes, "current")


def withdraw(transaction: Transaction, record: Record, decision: Decision) -> ConfirmationEventRow:
    """Withdraw a record by a new event; the record stays where it is.

    Raises:
        RecordWithdrawn: It is withdrawn already.
    """
    if record.status == "withdrawn":
        raise RecordWithdrawn(record_id=record.id)
    job_id = record.row.job_id
    event = put_event(transaction, job_id, "withdraw", decision, record_id=record.id)
    transaction.entry(What.WITHDRAWN, job_id, by=decision.by, note={"record": record.id, "words": decision.words})
    return event


def _withdrawn(session: Session, job_id: str) -> set[str]:
    statement = select(ConfirmationEventRow.record_id).where(
        ConfirmationEventRow.job_id == job_id, ConfirmationEventRow.action == "withdraw"
    )
    return {found for found in session.exec(statement).all() if found is not None}


def all_records(session: Session, job_id: str) -> list[Record]:
    """Read every record of a job, superseded and withdrawn ones too, in the order confirmed.

    A record is superseded only by one that is not itself withdrawn: withdrawing a correction brings the old value back.
    """
    rows = in_order(session.exec(select(RecordRow).where(RecordRow.job_id == job_id)).all())
    withdrawn = _withdrawn(session, job_id)
    superseded = {row.supersedes for row in rows if row.id not in withdrawn}

    def status(row: RecordRow) -> str:
        return "withdrawn" if row.id in withdrawn else "superseded" if row.id in superseded else "current"

    # A record bears the name that its axis had when it was confirmed; it belongs to that axis whatever its name now.
    names = renamed_axes(session, job_id)

    def reading(row: RecordRow) -> Reading:
        found = reading_of(row)
        return replace(found, axis=names[found.axis]) if found.axis in names else found

    return [Record(row, reading(row), notes_of(row), status(row)) for row in rows]


def current_records(session: Session, job_id: str) -> list[Record]:
    """Read the records in force, in the order confirmed."""
    return [record for record in all_records(session, job_id) if record.status == "current"]


def record_of(session: Session, record_id: str) -> Record:
    """Read a record by its id.

    Raises:
        NoSuchRecord: There is no such record.
    """
    row = session.get(RecordRow, record_id)
    if row is None:
        raise NoSuchRecord(record_id=record_id)
    return next(record for record in all_records(session, row.job_id) if record.id == record_id)


def require_current(record: Record) -> None:
    """Refuse to correct a record that is not in force.

    Raises:
        RecordNotCurrent: It is superseded or withdrawn.
    """
    if record.status != "current":
        raise RecordNotCurrent(record_id=record.id, state=record.status)


def record_for_page(record: Record) -> JsonObject:
    """Give a record as the page shows it."""
    row = record.row
    return {
        **row.model_dump(exclude={"circumstances_json"}),
        **record.notes.to_json(),
        "axis": record.reading.axis,
        "display": record.reading.quantity.display(),
        "status": record.status,
        "evidence": [sha for sha in (row.clip_sha256, row.photo_sha256, row.crop_sha256) if sha],
    }
