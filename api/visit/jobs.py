"""Jobs: made once from a checked description, read often, with what was changed since (`api.visit.changes`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from pydantic import BaseModel
from sqlmodel import Session, col, select, text

from api.ledger.acting import acting_person
from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.database import Transaction
from api.ledger.ids import in_order
from api.ledger.tables import AxisRow, DialogueStateRow, InstrumentRow, JobRow, SafetyAnswerRow
from api.ledger.trail import What
from api.visit.changes import (
    JobState,
    as_changed,
    axes_in_force,
    changes_by_job,
    changes_of,
    former_names,
    history_for_page,
    overlaid,
    state_after,
    withdrawn_axes,
)
from api.visit.description import AxisDescription, InstrumentDescription, JobDescription
from api.visit.errors import JobNotOpen, NoSuchAxis, NoSuchJob
from capture.language.axis_names import how_to_say
from grading.finding import plain

Part = TypeVar("Part", AxisRow, InstrumentRow)


def _plain(value: Decimal | None) -> str | None:
    return None if value is None else format(value, "f")


def as_json(part: BaseModel) -> str:
    """Write a checked part of a description as it is stored."""
    return canonical(plain(part.model_dump()))


def create_job(transaction: Transaction, description: JobDescription) -> JobRow:
    """Write a job with its axes and instruments; one trail entry holds all of them."""
    # No job is ever deleted, so their count gives the next number.
    number = transaction.session.connection().execute(text("SELECT count(*) FROM job")).scalar_one() + 1
    job = JobRow(
        id=f"J{number}",
        title=description.title,
        customer=description.customer,
        machine=description.machine,
        technician=description.technician,
        alarm_text=description.alarm_text,
        air_c=_plain(description.air_c),
        humidity_percent=_plain(description.humidity_percent),
        description_json=as_json(description),
        created_at=transaction.now,
    )
    transaction.put(job)
    for axis in description.axes:
        transaction.put(axis_row(job.id, axis))
    for instrument in description.instruments:
        transaction.put(instrument_row(job.id, instrument))
    transaction.put(
        DialogueStateRow(job_id=job.id, context_json="{}", asking_json="[]", message="", updated_at=transaction.now)
    )
    transaction.entry(What.JOB_CREATED, job.id, by=acting_person(job.technician))
    return job


def axis_row(job_id: str, axis: AxisDescription) -> AxisRow:
    """Make the row of an axis from its description."""
    return AxisRow(
        id=f"{job_id}-{axis.name}",
        job_id=job_id,
        name=axis.name,
        motor_kind=str(axis.motor_kind),
        drive=axis.drive.value,
        rated_voltage=_plain(axis.rated_voltage),
        rated_power_w=_plain(axis.rated_power_w),
        insulation_system=axis.insulation_system.value,
        winding_c=_plain(axis.winding_c),
        moving_cable=int(axis.moving_cable),
        description_json=as_json(axis),
    )


def instrument_row(job_id: str, instrument: InstrumentDescription) -> InstrumentRow:
    """Make the row of an instrument from its description."""
    due = instrument.calibration_due
    return InstrumentRow(
        id=f"{job_id}-{instrument.id}",
        job_id=job_id,
        label=instrument.id,
        kind=instrument.kind.value,
        accuracy_percent=_plain(instrument.accuracy_percent),
        accuracy_counts=_plain(instrument.accuracy_counts),
        calibration_due=None if due is None else due.isoformat(),
        description_json=as_json(instrument),
    )


@dataclass(frozen=True)
class Job:
    """A job with its axes and instruments, read once and handed on.

    Attributes:
        id: Its number, "J1".
        technician: Who works on it now: the person of the device that acts, else the last one named when somebody
            else went on, else the one it was made for.
        axis_names: Names of its axes as they are now, in the order described.
        instruments: In the order described.
        axes: In the order described.
        row: The job.
    """

    id: str
    technician: str
    axis_names: tuple[str, ...]
    instruments: tuple[InstrumentRow, ...]
    axes: tuple[AxisRow, ...]
    row: JobRow

    def axis_id(self, name: str) -> str:
        """Give the id of one of its axes by its name now."""
        return next(axis.id for axis in self.axes if axis.name == name)


def read_job(session: Session, job_id: str, *, to_change: bool = False) -> Job:
    """Read a job with its axes and instruments, as their changes make them.

    Args:
        session: Where to look.
        job_id: The job.
        to_change: Whether something shall be changed in it.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is to be changed, and is closed or archived.
    """
    made = session.get(JobRow, job_id)
    if made is None:
        raise NoSuchJob(job_id=job_id)
    row, axes, instruments, state = overlaid(
        session, made, _rows(session, AxisRow, job_id), _rows(session, InstrumentRow, job_id)
    )
    if to_change and state is not JobState.OPEN:
        raise JobNotOpen(job_id=job_id, state=state.value)
    names = tuple(axis.name for axis in axes)
    return Job(row.id, acting_person(_at_work(session, row)), names, tuple(instruments), tuple(axes), row)


def _rows(session: Session, table: type[Part], job_id: str) -> Sequence[Part]:
    """Read the rows of a job's axes or instruments as they were made, in the order described."""
    # The ids would sort by name; rows are numbered in the order in which they were put.
    return session.exec(select(table).where(table.job_id == job_id).order_by(text("rowid"))).all()


def _at_work(session: Session, job: JobRow) -> str:
    statement = select(SafetyAnswerRow).where(
        SafetyAnswerRow.job_id == job.id, SafetyAnswerRow.answer == "another_person", SafetyAnswerRow.note != ""
    )
    named = in_order(session.exec(statement).all())
    return named[-1].note if named else job.technician


def job_of(session: Session, job_id: str) -> JobRow:
    """Read a job by its id, as its changes make it.

    Raises:
        NoSuchJob: There is no such job.
    """
    job = session.get(JobRow, job_id)
    if job is None:
        raise NoSuchJob(job_id=job_id)
    return as_changed(job, changes_of(session, job_id))


def axes_of(session: Session, job_id: str) -> Sequence[AxisRow]:
    """Read a job's axes as its changes make them, in the order described, without those that are withdrawn."""
    return axes_in_force(_rows(session, AxisRow, job_id), changes_of(session, job_id))


def withdrawn_axes_of(session: Session, job_id: str) -> list[AxisRow]:
    """Read the axes of a job that were withdrawn, in the order described."""
    changes = changes_of(session, job_id)
    gone = withdrawn_axes(changes)
    return [as_changed(row, changes) for row in _rows(session, AxisRow, job_id) if row.id in gone]


def axis_of(session: Session, job_id: str, name: str) -> AxisRow:
    """Read one axis by its name, or by one that it had before.

    Raises:
        NoSuchAxis: The job has no such axis.
    """
    axes = axes_of(session, job_id)
    wanted = former_names(changes_of(session, job_id)).get(name.upper())
    for axis in axes:
        if axis.name == name.upper():
            return axis
    for axis in axes:
        if axis.id == wanted:
            return axis
    raise NoSuchAxis(axis=name, axes=tuple(axis.name for axis in axes))


def axis_id_of(session: Session, job_id: str, name: str | None) -> str:
    """Give the id of an axis by its name; one that no axis has where there is none of it."""
    try:
        return axis_of(session, job_id, name or "").id
    except NoSuchAxis:
        return f"{job_id}-{name}"


def instruments_of(session: Session, job_id: str) -> Sequence[InstrumentRow]:
    """Read a job's instruments as its changes make them, in the order described."""
    changes = changes_of(session, job_id)
    return [as_changed(row, changes) for row in _rows(session, InstrumentRow, job_id)]


def all_jobs(session: Session) -> Sequence[JobRow]:
    """Read all jobs as their changes make them, newest first."""
    rows = session.exec(select(JobRow).order_by(col(JobRow.created_at).desc(), text("rowid DESC"))).all()
    changes = changes_by_job(session)
    return [as_changed(row, changes.get(row.id, ())) for row in rows]


def job_for_page(session: Session, job: JobRow) -> JsonObject:
    """Give a job with its axes and instruments, as the page shows it."""
    axes, changes = axes_of(session, job.id), changes_of(session, job.id)
    names = [axis.name for axis in axes]
    return {
        **job.model_dump(exclude={"description_json"}),
        "serial": parsed(job.description_json).get("serial", ""),
        "state": state_after(changes).value,
        "changes": history_for_page(changes),
        "axes": [
            {
                **axis.model_dump(exclude={"description_json", "job_id"}),
                "said": how_to_say(axis.name, names),
                "plate": parsed(axis.description_json).get("nameplate", ""),
            }
            for axis in axes
        ],
        "withdrawn_axes": [{"id": axis.id, "name": axis.name} for axis in withdrawn_axes_of(session, job.id)],
        "instruments": [
            {
                **instrument.model_dump(exclude={"description_json", "job_id"}),
                **{
                    name: parsed(instrument.description_json).get(name) or ""
                    for name in ("serial", "certificate", "certificate_date")
                },
            }
            for instrument in instruments_of(session, job.id)
        ],
    }
