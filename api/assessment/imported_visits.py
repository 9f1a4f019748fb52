"""Visits that other data folders exported and this one imported, as earlier visits to the same machine.

What they hold stands in the row of the imported file, so grading and its verification read the same. Their ids are
prefixed with the first digits of that file's hash, since every folder counts from J1.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlmodel import Session, SQLModel, create_engine, select

from api.assessment.grading_adapter import Inputs, read_inputs
from api.ledger.canonical import parsed
from api.ledger.job_tables import JobChangeRow
from api.ledger.tables import AxisRow, EvidenceRow, InstrumentRow, JobRow, RecordRow, SafetyAnswerRow
from api.visit.jobs import job_of

BAG_KIND = "bag"
"""`EvidenceRow.kind` of an imported export."""

_DIGITS = 8
_PARTS: tuple[tuple[str, type[SQLModel]], ...] = (
    ("axes", AxisRow),
    ("instruments", InstrumentRow),
    ("changes", JobChangeRow),
    ("records", RecordRow),
    ("safety", SafetyAnswerRow),
)
_IDS = ("id", "job_id", "instrument_id", "proposal_id", "confirmation_id", "supersedes", "axis_id", "subject_id")


def imported_visits(session: Session) -> Iterator[tuple[JobRow, Inputs]]:
    """Give every imported visit: its job, and what grading is given of it."""
    for row in session.exec(select(EvidenceRow).where(EvidenceRow.kind == BAG_KIND).order_by(EvidenceRow.stored_at)):
        yield _read(row.sha256[:_DIGITS], parsed(row.metadata_json)["visit"])


def _read(prefix: str, visit: dict[str, Any]) -> tuple[JobRow, Inputs]:
    """Read a visit through the same tables as one of this folder."""
    engine = create_engine("sqlite://")
    SQLModel.metadata.create_all(engine)
    own = str(visit["job"]["id"])

    def renamed(row: dict[str, Any]) -> dict[str, Any]:
        return {
            name: f"{prefix}:{value}"
            if name in _IDS and isinstance(value, str) and f"{value}-".startswith(f"{own}-")
            else value
            for name, value in row.items()
        }

    try:
        with Session(engine, expire_on_commit=False) as scratch:
            job = JobRow(**renamed(visit["job"]))
            scratch.add(job)
            scratch.flush()
            for name, kind in _PARTS:
                for row in visit.get(name, []):
                    scratch.add(kind(**renamed(row)))
                    scratch.flush()  # in this order
            return job_of(scratch, job.id), read_inputs(scratch, job.id)
    finally:
        engine.dispose()
