"""An axis that was added by mistake: withdrawn while nothing was measured of it; reinstated where that was wrong.

Its row stays, with what was answered and photographed of it; both steps are changes of the job on the trail. Of an axis
with readings nothing is taken out of sight: it is renamed, and its readings are withdrawn one by one.
"""

from __future__ import annotations

from api.ledger.database import Transaction
from api.ledger.trail import What
from api.visit.changes import REINSTATED, WITHDRAWN, require_open
from api.visit.editing import ChangeWriter
from api.visit.errors import AxisHasReadings, NoSuchAxis, OnlyAxis
from api.visit.jobs import axes_of, axis_of, job_of, withdrawn_axes_of
from api.visit.proposals import proposals_of
from api.visit.records import all_records


def withdraw_axis(transaction: Transaction, job_id: str, name: str, reason: str = "") -> str:
    """Let an axis of which nothing was measured count no more; gives its present name.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        name: The axis, by its name now or one that it had before.
        reason: Why, in a person's words.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is closed or archived.
        NoSuchAxis: It has no such axis, or it is withdrawn already.
        OnlyAxis: It is the last one.
        AxisHasReadings: A record of it exists, in force or not, or a value of it waits.
    """
    session = transaction.session
    job = job_of(session, job_id)
    require_open(session, job_id)
    axis = axis_of(session, job_id, name)
    if len(axes_of(session, job_id)) == 1:
        raise OnlyAxis(axis=axis.name)
    records = sum(record.reading.axis == axis.name for record in all_records(session, job_id))
    waiting = sum(proposal.row.axis == axis.name for proposal in proposals_of(session, job_id, "open"))
    if records or waiting:
        raise AxisHasReadings(axis=axis.name, records=records, proposals=waiting)
    writer = ChangeWriter(transaction, job, reason)
    writer.put("axis", axis.id, WITHDRAWN, {}, {})
    note = {"action": WITHDRAWN, "axis": axis.name, "reason": reason}
    transaction.entry(What.JOB_CHANGED, job_id, by=writer.by, note=note)
    return axis.name


def reinstate_axis(transaction: Transaction, job_id: str, name: str, reason: str = "") -> str:
    """Let a withdrawn axis count again, with what was known of it; gives its name.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        name: The axis.
        reason: Why, in a person's words.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is closed or archived.
        NoSuchAxis: No axis of this name is withdrawn; the error names those that are.
    """
    session = transaction.session
    job = job_of(session, job_id)
    require_open(session, job_id)
    withdrawn = withdrawn_axes_of(session, job_id)
    found = [axis for axis in withdrawn if axis.name == name.upper()]
    if not found:
        raise NoSuchAxis(axis=name, axes=tuple(axis.name for axis in withdrawn))
    writer = ChangeWriter(transaction, job, reason)
    writer.put("axis", found[0].id, REINSTATED, {}, {})
    note = {"action": REINSTATED, "axis": found[0].name, "reason": reason}
    transaction.entry(What.JOB_CHANGED, job_id, by=writer.by, note=note)
    return found[0].name
