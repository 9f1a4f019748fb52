"""Which issue of a job's report a state of the job is: J1-1, J1-2, ... counted by job, independent of other jobs."""

from __future__ import annotations

from bisect import bisect_right

from sqlmodel import Session, col, select

from api.ledger.ids import in_order
from api.ledger.tables import ReportFileRow, TrailEntryRow
from api.report.identity import Issue
from api.report.proof import NOT_OF_RECORDS, head_of_job, issued_at


def issue_of(session: Session, job_id: str, *, profile_sha256: str = "", issued: str | None = None) -> Issue:
    """Say which issue a report of the job's present state is.

    An issue is one state of the job's records under one profile of limits: its HTML, its PDF, its short form and its
    table bear the same number. A later state is a new issue, and names the one before.

    Args:
        session: One consistent snapshot.
        job_id: The job.
        profile_sha256: Hash of the shop profile that it is graded by; empty for the published limits.
        issued: Time of issue, ISO 8601 with offset; None for that of the job's newest entry.
    """
    states = session.exec(
        select(TrailEntryRow.seq)
        .where(TrailEntryRow.job_id == job_id, col(TrailEntryRow.what).not_in(NOT_OF_RECORDS))
        .order_by(col(TrailEntryRow.seq))
    ).all()
    rows = in_order(session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all())
    made: dict[tuple[int, str], list[str]] = {}
    for row in rows:
        # A report covers a head of the whole trail; what of it was this job's is its state.
        place = bisect_right(states, row.trail_seq)
        made.setdefault((states[place - 1] if place else 0, row.profile_sha256), []).append(row.sha256)
    head = head_of_job(session, job_id)
    key = (states[-1] if states else 0, profile_sha256)
    issues = list(made)
    number = issues.index(key) + 1 if key in made else len(issues) + 1
    before = issues[number - 2] if number > 1 else None
    return Issue(
        number=f"{job_id}-{number}",
        issued=issued or ("" if head is None else issued_at(session, head)),
        earlier=f"{job_id}-{number - 1}" if before is not None else "",
        earlier_sha256=() if before is None else tuple(made[before]),
    )
