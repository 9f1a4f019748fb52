"""A job corrected after it was made: its description, its axes and instruments, and whether it is open.

Nothing that was written is written over. Each change says what was, what is from now on, who changed it, when and why;
it is an entry of the trail, and the report shows it. What was measured stays with its axis under whatever name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pydantic import ValidationError
from sqlmodel import Session, func, select

from api.ledger.acting import acting_person
from api.ledger.canonical import JsonObject, PlainData, canonical, parsed
from api.ledger.database import Transaction
from api.ledger.job_tables import JobChangeRow
from api.ledger.tables import AxisRow, CaptureRow, InstrumentRow, JobRow, ProposalRow
from api.ledger.trail import What
from api.visit.changes import ACTIONS, MOVES, JobState, changes_of, former_names, require_open, state_of
from api.visit.description import AxisDescription, InstrumentDescription, JobDescription, read_description
from api.visit.errors import (
    BadJobDescription,
    BadMove,
    JobChangedMeanwhile,
    JobStillWaits,
    NothingEdited,
    PartLeftOut,
)
from api.visit.jobs import (
    as_json,
    axes_of,
    axis_row,
    instrument_row,
    instruments_of,
    job_of,
    withdrawn_axes_of,
)

_PARTS = ("axes", "instruments")
Part = TypeVar("Part", AxisDescription, InstrumentDescription, JobDescription)
PartRow = TypeVar("PartRow", AxisRow, InstrumentRow)


@dataclass(frozen=True)
class JobEdit:
    """A whole description as it shall be from now on.

    Attributes:
        description: The description, its axes and instruments in any order.
        axis_ids: For each axis of it, the id of the one on record; None for one that is added.
        instrument_ids: The same for each instrument.
        revision: How many changes the job had when it was looked at; None not to compare.
        reason: Why, in a person's words.
    """

    description: PlainData
    axis_ids: Sequence[str | None]
    instrument_ids: Sequence[str | None]
    revision: int | None = None
    reason: str = ""


def editable(session: Session, job_id: str) -> PlainData:
    """Give a job's description as it stands, ready to be changed and sent back, with what `JobEdit` holds besides.

    Raises:
        NoSuchJob: There is no such job.
    """
    job, axes, instruments = job_of(session, job_id), axes_of(session, job_id), instruments_of(session, job_id)
    given = {name: value for name, value in parsed(job.description_json).items() if name not in _PARTS}
    # The newest columns count: what migrations renamed has its present name there.
    given.pop("humidity_pct", None)
    return {
        "description": {
            **given,
            "humidity_percent": job.humidity_percent,
            "axes": [parsed(axis.description_json) for axis in axes],
            "instruments": [_instrument_given(row) for row in instruments],
        },
        "axis_ids": [axis.id for axis in axes],
        "instrument_ids": [row.id for row in instruments],
        "revision": len(changes_of(session, job_id)),
    }


def _instrument_given(row: InstrumentRow) -> JsonObject:
    """Give an instrument's description with the unit beside the ends of its ranges, which are stored in ohms."""
    given = parsed(row.description_json)
    return {**given, "range_end": {volts: f"{end} Ohm" for volts, end in (given.get("range_end") or {}).items()}}


def edit_job(transaction: Transaction, job_id: str, edit: JobEdit) -> dict[str, str]:
    """Write what is different in a job from now on.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        edit: The description as it shall be.

    Returns:
        The present name of each axis that is renamed, by its name of before.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is closed or archived.
        BadJobDescription: A field is wrong; the error names each place.
        JobChangedMeanwhile: Somebody else changed it since it was looked at.
        PartLeftOut: An axis or instrument on record is missing in it, or one is named that is none of the job's.
        NothingEdited: It is as on record.
    """
    session = transaction.session
    job = job_of(session, job_id)
    require_open(session, job_id)
    before = changes_of(session, job_id)
    if edit.revision is not None and edit.revision != len(before):
        raise JobChangedMeanwhile(job_id=job_id)
    wanted = read_description(edit.description)
    axes = _pairs("axis", axes_of(session, job_id), edit.axis_ids, wanted.axes)
    instruments = _pairs("instrument", instruments_of(session, job_id), edit.instrument_ids, wanted.instruments)
    writer = ChangeWriter(transaction, job, edit.reason)
    known: PlainData = editable(session, job_id)["description"]
    withdrawn = {row.name: row.id for row in withdrawn_axes_of(session, job_id)}
    _refuse_taken_names(axes, {**former_names(before), **withdrawn}, withdrawn)
    writer.compare("job", job.id, JobDescription, known, wanted, leave=_PARTS)
    renamed = {}
    for row, axis in axes:
        if row is None:
            added = axis_row(job_id, axis)
            transaction.put(added)
            writer.added("axis", added.id, {"name": axis.name, "motor_kind": str(axis.motor_kind)})
            continue
        writer.compare("axis", row.id, AxisDescription, parsed(row.description_json), axis)
        if row.name != axis.name:
            renamed[row.name] = axis.name
    for held, instrument in instruments:
        if held is None:
            new = instrument_row(job_id, instrument)
            transaction.put(new)
            writer.added("instrument", new.id, {"id": instrument.id, "kind": instrument.kind.value})
        else:
            writer.compare("instrument", held.id, InstrumentDescription, _instrument_given(held), instrument)
    if not writer.count:
        raise NothingEdited()
    transaction.entry(What.JOB_CHANGED, job_id, by=writer.by, note={"action": "edited", "reason": edit.reason})
    return renamed


def _pairs(
    kind: str, rows: Sequence[PartRow], ids: Sequence[str | None], parts: Sequence[Part]
) -> list[tuple[PartRow | None, Part]]:
    """Put each described part beside the row that it describes."""
    by_id = {row.id: row for row in rows}
    if len(ids) != len(parts):
        raise PartLeftOut(kind=kind, missing="ids, one for each")
    named = {one for one in ids if one is not None}
    strange: list[str] = sorted(named - by_id.keys())
    lost: list[str] = [row.id for row in rows if row.id not in named]
    if strange or lost or sum(one is not None for one in ids) != len(rows):
        raise PartLeftOut(kind=kind, missing=", ".join([*lost, *strange]) or "once only")
    return [(None if one is None else by_id[one], part) for one, part in zip(ids, parts, strict=True)]


def _refuse_taken_names(
    axes: Sequence[tuple[AxisRow | None, AxisDescription]], former: Mapping[str, str], withdrawn: Mapping[str, str]
) -> None:
    """Refuse a name that another axis bears or bore: records of then bear it, and would seem to be this axis's."""
    taken = {**former, **{row.name: row.id for row, _ in axes if row is not None}}
    for index, (row, axis) in enumerate(axes):
        owner = taken.get(axis.name)
        if owner is not None and (row is None or row.id != owner):
            words = (
                f"{axis.name} is or was the name of another axis of this job, and its readings bear it. Choose another."
            )
            if axis.name in withdrawn:
                words = f"{axis.name} is an axis of this job that was withdrawn. Reinstate it among the job's details."
            place = f"axes.{index}.name"
            raise BadJobDescription(problems=f"{place}: {words}", fields=(place, words))


class ChangeWriter:
    """Writes the changes of one edit."""

    def __init__(self, transaction: Transaction, job: JobRow, reason: str) -> None:
        self._transaction, self._job_id, self._reason = transaction, job.id, reason
        self.by = acting_person(job.technician)
        self.count = 0

    def compare(
        self, subject: str, key: str, model: type[Part], known: PlainData, wanted: Part, leave: Sequence[str] = ()
    ) -> None:
        """Write what differs between what is on record and what is wanted, if anything does."""
        try:
            # Read by the same model, so that what older versions wrote otherwise, or not at all, is no difference.
            now = parsed(as_json(model.model_validate(known)))
        except ValidationError:
            now = known
        then = parsed(as_json(wanted))
        names = [name for name in then if name not in leave and now.get(name) != then[name]]
        if names:
            before, after = {name: now.get(name) for name in names}, {name: then[name] for name in names}
            self.put(subject, key, "edited", before, after)

    def added(self, subject: str, key: str, what: JsonObject) -> None:
        """Write that a part was added."""
        self.put(subject, key, "added", {}, what)

    def put(self, subject: str, key: str, action: str, before: JsonObject, after: JsonObject) -> None:
        """Write one change."""
        row = JobChangeRow(
            id=self._transaction.next_id(JobChangeRow, self._job_id),
            job_id=self._job_id,
            subject=subject,
            subject_id=key,
            action=action,
            before_json=canonical(before),
            after_json=canonical(after),
            reason=self._reason,
            by=self.by,
            at=self._transaction.now,
        )
        self._transaction.put(row)
        self.count += 1


def move_job(transaction: Transaction, job_id: str, move: str, reason: str = "") -> JobState:
    """Close, reopen, archive or restore a job; returns the state that it is in then.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        move: A key of `api.visit.changes.MOVES`.
        reason: Why, in a person's words.

    Raises:
        NoSuchJob: There is no such job.
        BadMove: It is in another state.
        JobStillWaits: It is to be closed, and a value or file of it waits.
    """
    session = transaction.session
    job, state = job_of(session, job_id), state_of(session, job_id)
    before, after = MOVES[move]
    if state is not before:
        raise BadMove(job_id=job_id, state=state.value, wanted="brought back" if move == "restore" else ACTIONS[move])
    if move == "close":
        proposals = _count(session, ProposalRow, job_id, "open")
        captures = _count(session, CaptureRow, job_id, "stored")
        if proposals or captures:
            raise JobStillWaits(job_id=job_id, proposals=proposals, captures=captures)
    writer = ChangeWriter(transaction, job, reason)
    writer.put("job", job_id, ACTIONS[move], {}, {})
    transaction.entry(What.JOB_CHANGED, job_id, by=writer.by, note={"action": ACTIONS[move], "reason": reason})
    return after


def _count(session: Session, table: type[ProposalRow] | type[CaptureRow], job_id: str, state: str) -> int:
    statement = select(func.count()).select_from(table).where(table.job_id == job_id, table.state == state)
    return session.exec(statement).one()
