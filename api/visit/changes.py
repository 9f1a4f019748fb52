"""What was changed of a job after it was made: read over the rows that it was made with, which stay as they are.

Each change holds the fields of the description that became others, with what they were before. A row is shown as its
changes make it; an axis keeps its id under another name, and its former names lead to it for ever, since records bear
the name under which they were confirmed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import TypeVar

from sqlmodel import Session, SQLModel, col, select

from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.ids import in_order
from api.ledger.job_tables import JobChangeRow
from api.ledger.tables import AxisRow, InstrumentRow, JobRow
from api.visit.errors import JobNotOpen
from api.visit.readings import ReadingFields

Described = TypeVar("Described", JobRow, AxisRow, InstrumentRow)

_COLUMNS: Mapping[type[SQLModel], Mapping[str, str]] = {
    JobRow: {name: name for name in ("title", "customer", "machine", "technician", "alarm_text", "air_c")}
    | {"humidity_percent": "humidity_percent"},
    AxisRow: {name: name for name in ("name", "motor_kind", "drive", "rated_voltage", "rated_power_w", "winding_c")}
    | {"insulation_system": "insulation_system", "moving_cable": "moving_cable"},
    InstrumentRow: {"id": "label", "kind": "kind", "accuracy_percent": "accuracy_percent"}
    | {"accuracy_counts": "accuracy_counts", "calibration_due": "calibration_due"},
}
"""Columns of their own, by the field of the description that they repeat."""


class JobState(StrEnum):
    """Whether a job is worked on."""

    OPEN = "open"
    CLOSED = "closed"
    ARCHIVED = "archived"


MOVES: Mapping[str, tuple[JobState, JobState]] = {
    "close": (JobState.OPEN, JobState.CLOSED),
    "reopen": (JobState.CLOSED, JobState.OPEN),
    "archive": (JobState.CLOSED, JobState.ARCHIVED),
    "restore": (JobState.ARCHIVED, JobState.CLOSED),
}
"""What may be done with a job as a whole, and what state it leads from and to."""

ACTIONS: Mapping[str, str] = {"close": "closed", "reopen": "reopened", "archive": "archived", "restore": "restored"}
"""How each is noted."""

WITHDRAWN, REINSTATED = "withdrawn", "reinstated"
"""How it is noted that an axis was added by mistake, and that it counts again."""

_STATE_AFTER = {ACTIONS[move]: after for move, (_, after) in MOVES.items()}


def changes_of(session: Session, job_id: str) -> list[JobChangeRow]:
    """Read the changes of a job, oldest first."""
    return in_order(session.exec(select(JobChangeRow).where(JobChangeRow.job_id == job_id)).all())


def changes_by_job(session: Session) -> dict[str, list[JobChangeRow]]:
    """Read the changes of every job, oldest first."""
    found: dict[str, list[JobChangeRow]] = defaultdict(list)
    for row in session.exec(select(JobChangeRow).order_by(col(JobChangeRow.job_id))).all():
        found[row.job_id].append(row)
    return {job_id: in_order(rows) for job_id, rows in found.items()}


def as_changed(row: Described, changes: Iterable[JobChangeRow]) -> Described:
    """Give a row as its changes make it: the row itself where there are none, else one that is never written.

    Args:
        row: As it was made.
        changes: Of its job, oldest first; those of other rows are passed over.
    """
    after: JsonObject = {}
    for change in changes:
        if change.subject == row.__tablename__ and change.subject_id == row.id and change.action == "edited":
            after |= parsed(change.after_json)
    if not after:
        return row
    columns = {column: after[name] for name, column in _COLUMNS[type(row)].items() if name in after}
    if "moving_cable" in columns:
        columns["moving_cable"] = int(bool(columns["moving_cable"]))
    described = canonical({**parsed(row.description_json), **after})
    return type(row)(**{**row.model_dump(), **columns, "description_json": described})


def overlaid(
    session: Session, job: JobRow, axes: Sequence[AxisRow], instruments: Sequence[InstrumentRow]
) -> tuple[JobRow, list[AxisRow], list[InstrumentRow], JobState]:
    """Give a job with its axes and instruments as their changes make them, and its state; the changes are read once."""
    changes = changes_of(session, job.id)
    changed_axes = axes_in_force(axes, changes)
    changed_instruments = [as_changed(row, changes) for row in instruments]
    return as_changed(job, changes), changed_axes, changed_instruments, state_after(changes)


def withdrawn_axes(changes: Iterable[JobChangeRow]) -> set[str]:
    """Give the ids of the axes that were withdrawn and not reinstated since.

    Args:
        changes: Of one job, oldest first.
    """
    found = set()
    for change in changes:
        if change.subject == "axis" and change.action == WITHDRAWN:
            found.add(change.subject_id)
        elif change.subject == "axis" and change.action == REINSTATED:
            found.discard(change.subject_id)
    return found


def axes_in_force(rows: Iterable[AxisRow], changes: Sequence[JobChangeRow]) -> list[AxisRow]:
    """Give the axes of a job as its changes make them, without those that are withdrawn."""
    gone = withdrawn_axes(changes)
    return [as_changed(row, changes) for row in rows if row.id not in gone]


def state_after(changes: Iterable[JobChangeRow]) -> JobState:
    """Give the state that a job's changes, oldest first, leave it in."""
    state = JobState.OPEN
    for change in changes:
        state = _STATE_AFTER.get(change.action, state)
    return state


def state_of(session: Session, job_id: str) -> JobState:
    """Tell whether a job is open, closed or archived."""
    return state_after(changes_of(session, job_id))


def require_open(session: Session, job_id: str) -> None:
    """Refuse what would change a job that is not open.

    Raises:
        JobNotOpen: It is closed or archived.
    """
    state = state_of(session, job_id)
    if state is not JobState.OPEN:
        raise JobNotOpen(job_id=job_id, state=state.value)


def former_names(changes: Iterable[JobChangeRow]) -> dict[str, str]:
    """Give every name that an axis had before, and the id of that axis.

    Args:
        changes: Of one job, oldest first.
    """
    found = {}
    for change in changes:
        if change.subject == "axis" and change.action == "edited":
            before = parsed(change.before_json)
            if "name" in before:
                found[str(before["name"])] = change.subject_id
    return found


def renamed_axes(session: Session, job_id: str) -> dict[str, str]:
    """Give the present name of each axis by every name that it had before and has no more."""
    changes = changes_of(session, job_id)
    former = former_names(changes)
    if not former:
        return {}
    rows = session.exec(select(AxisRow).where(AxisRow.job_id == job_id)).all()
    now = {row.id: as_changed(row, changes).name for row in rows}
    return {name: now[axis_id] for name, axis_id in former.items() if now.get(axis_id, name) != name}


def of_present_axis(session: Session, job_id: str, fields: ReadingFields) -> ReadingFields:
    """Give typed fields with their axis as it is called now: what waited in a phone may bear an older name."""
    names, axis = renamed_axes(session, job_id), str(fields.get("axis") or "").strip().upper()
    return {**fields, "axis": names[axis]} if axis in names else fields


def history_for_page(changes: Sequence[JobChangeRow]) -> list[JsonObject]:
    """Give the changes of a job as the page shows them, oldest first."""
    return [
        {
            **change.model_dump(exclude={"before_json", "after_json"}),
            "before": parsed(change.before_json),
            "after": parsed(change.after_json),
        }
        for change in changes
    ]
