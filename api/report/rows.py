"""The rows of one job, read from one consistent snapshot."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

from sqlmodel import Session, SQLModel, col, select

from api.ledger.job_tables import JobChangeRow, PictureRow
from api.ledger.tables import (
    AxisRow,
    CaptureRow,
    ConfirmationEventRow,
    EvidenceRow,
    InstrumentRow,
    JobRow,
    ProposalRow,
    RecordRow,
    SafetyAnswerRow,
    TrailEntryRow,
)
from api.report.proof import head_of_job
from api.visit.changes import changes_of
from api.visit.jobs import axes_of, instruments_of, job_of, withdrawn_axes_of
from api.visit.pictures import pictures_of
from api.visit.records import Record, all_records


def number(identifier: str) -> int:
    """Give the running number at the end of an id ("J1-R12" gives 12), for sorting in order of creation."""
    digits = identifier.rpartition("-")[2].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return int(digits) if digits.isdigit() else 0


def loads(text: str) -> Any:
    """Read the JSON of a column; a damaged column gives an empty object rather than no report."""
    try:
        return json.loads(text) if text else {}
    except json.JSONDecodeError:
        return {}


@dataclass(frozen=True)
class Rows:
    """All rows of one job; lists in order of creation."""

    job: JobRow
    axes: list[AxisRow]
    withdrawn_axes: list[AxisRow]
    instruments: list[InstrumentRow]
    captures: list[CaptureRow]
    evidence: dict[str, EvidenceRow]
    proposals: list[ProposalRow]
    records: list[RecordRow]
    states: dict[str, str]
    events: list[ConfirmationEventRow]
    answers: list[SafetyAnswerRow]
    changes: list[JobChangeRow]
    pictures: list[PictureRow]
    head: TrailEntryRow | None
    entries: int

    @cached_property
    def superseded(self) -> dict[str, str]:
        """For each record that was replaced, the record that replaced it (one that was not itself withdrawn)."""
        return {r.supersedes: r.id for r in self.records if r.supersedes and r.id not in self.withdrawn}

    @cached_property
    def withdrawn(self) -> dict[str, ConfirmationEventRow]:
        """For each record that was withdrawn, the event by which it was."""
        return {e.record_id: e for e in self.events if e.action == "withdraw" and e.record_id}

    @cached_property
    def standing(self) -> list[RecordRow]:
        """The records in force."""
        return [r for r in self.records if self.states[r.id] == "current"]


Row = TypeVar("Row", bound=SQLModel)


def _of_job(session: Session, table: type[Row], job_id: str) -> list[Row]:
    found = session.exec(select(table).where(table.job_id == job_id)).all()  # type: ignore[attr-defined]
    return sorted(found, key=lambda row: (number(row.id), row.id))  # type: ignore[attr-defined]


def _of_axis_now(record: Record) -> RecordRow:
    """Give a record's row with its axis as that is called now; the row on record bears the name of then."""
    row = record.row
    return row if row.axis == record.reading.axis else RecordRow(**{**row.model_dump(), "axis": record.reading.axis})


def read_rows(session: Session, job_id: str) -> Rows:
    """Read everything that a report of this job shows.

    Raises:
        NotFound: There is no such job.
    """
    job, records = job_of(session, job_id), all_records(session, job_id)
    captures = _of_job(session, CaptureRow, job_id)
    pictures = pictures_of(session, job_id)
    named = {c.sha256 for c in captures} | {p.sha256 for p in pictures if p.sha256}
    evidence = session.exec(
        select(EvidenceRow).where(col(EvidenceRow.sha256).in_(named) | col(EvidenceRow.parent_sha256).in_(named))
    ).all()
    trail = head_of_job(session, job_id)
    return Rows(
        job=job,
        axes=list(axes_of(session, job_id)),
        withdrawn_axes=withdrawn_axes_of(session, job_id),
        instruments=list(instruments_of(session, job_id)),
        captures=captures,
        evidence={e.sha256: e for e in evidence},
        proposals=_of_job(session, ProposalRow, job_id),
        records=[_of_axis_now(record) for record in records],
        states={record.id: record.status for record in records},
        events=_of_job(session, ConfirmationEventRow, job_id),
        answers=_of_job(session, SafetyAnswerRow, job_id),
        changes=changes_of(session, job_id),
        pictures=pictures,
        head=trail,
        entries=0 if trail is None else trail.seq,
    )
