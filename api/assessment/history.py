"""Earlier visits to the same machine: what grading compares a job's readings with, over the years.

A visit is earlier by when it was measured, not by when its job was made: records typed in later from an old sheet
count with their own date. Two jobs are of one machine where customer and machine are written alike, but for case and
spaces, and where no two serial numbers speak against it; two customers' "Lathe 1" are two machines.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain

from sqlmodel import Session

from api.assessment.grading_adapter import Inputs, read_inputs
from api.assessment.imported_visits import imported_visits
from api.ledger.canonical import parsed
from api.ledger.tables import JobRow
from api.visit.jobs import all_jobs, job_of
from grading.measurement import Instrument, Measurement, Visit


@dataclass
class History:
    """What was measured before.

    Attributes:
        visits: By axis name, oldest first.
        meters: The instruments of those visits by id.
        record_ids: Every record in it, each beginning with its own job's id.
    """

    visits: dict[str, list[Visit]] = field(default_factory=dict)
    meters: dict[str, Instrument] = field(default_factory=dict)
    record_ids: list[str] = field(default_factory=list)


def _plain(text: object) -> str:
    return " ".join(str(text or "").split()).casefold()


def same_machine(first: JobRow, second: JobRow) -> bool:
    """Tell whether two jobs are of one machine (see the module)."""
    if any(_plain(getattr(first, name)) != _plain(getattr(second, name)) for name in ("machine", "customer")):
        return False
    serials = {_plain(parsed(job.description_json).get("serial")) for job in (first, second)} - {""}
    return len(serials) < 2


def _begin(measurements: list[Measurement], axis: str) -> dt.datetime | None:
    """Give the instant at which the measuring of an axis began; None before its first reading."""
    return min((found.at for found in measurements if found.axis == axis and found.at is not None), default=None)


def _visits(given: Inputs, then: Inputs) -> Iterator[Visit]:
    """Give what another job measured of the axes of this one before it."""
    for name, context in given.contexts.items():
        begin, past = _begin(given.measurements, name), then.contexts.get(name)
        # Another kind of motor was put in since: what its predecessor measured says nothing about this one.
        if begin is None or past is None or past.motor_kind is not context.motor_kind:
            continue
        if not (past.motor_chosen and context.motor_chosen):  # one of them may be another kind
            continue
        found = tuple(m for m in then.measurements if m.axis == name and m.at is not None and m.at < begin)
        if found:
            yield Visit(max(m.at for m in found if m.at is not None), found, past)


def history_of(session: Session, job_id: str, given: Inputs) -> History:
    """Read what was measured of a job's axes before it, from the records now in force of other jobs, imported ones too.

    Args:
        session: Where to look.
        job_id: The job.
        given: Its own inputs.

    Raises:
        NotFound: There is no such job.
    """
    job, found = job_of(session, job_id), History()
    others = [other for other in reversed(all_jobs(session)) if other.id != job.id and same_machine(job, other)]
    imported = (then for other, then in imported_visits(session) if same_machine(job, other))
    for then in chain((read_inputs(session, other.id) for other in others), imported):
        for visit in _visits(given, then):
            found.visits.setdefault(visit.context.axis, []).append(visit)
            found.record_ids += [measured.record_id for measured in visit.measurements]
            found.meters |= then.meters
    for visits in found.visits.values():
        visits.sort(key=lambda visit: visit.at)
    return found
