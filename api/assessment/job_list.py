"""The list of jobs: open ones first, with state and what is left, found by machine, customer, date, axis or serial.

What is left is what the plan of each axis leaves, the same that the spoken "next" goes by (`next_point`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sqlmodel import Session, func, select

from api.assessment.next_point import job_plans
from api.ledger.canonical import JsonObject, PlainData, parsed
from api.ledger.job_tables import JobChangeRow
from api.ledger.tables import JobRow, ProposalRow
from api.visit.changes import JobState, changes_by_job, former_names, state_after
from api.visit.jobs import all_jobs, job_for_page
from grading.shop import ShopProfile

_ORDER = {JobState.OPEN: 0, JobState.CLOSED: 1, JobState.ARCHIVED: 2}
_SEARCHED = ("id", "title", "customer", "machine", "technician", "alarm_text", "created_at")


def list_jobs(
    session: Session, words: str = "", *, archived: bool = False, profile: ShopProfile | None = None
) -> list[PlainData]:
    """List jobs, open ones first, each group newest first.

    Args:
        session: One consistent snapshot.
        words: What to look for: each word must stand somewhere in the title, customer, machine, serial number of it, a
            motor's plate or an instrument, site, alarm, technician, in an axis' name, or in the day ("2026-11",
            "2026-11-25").
        archived: Whether archived jobs are listed too.
        profile: The shop's own limits, which the plan follows.
    """
    wanted = words.casefold().split()
    changes = changes_by_job(session)
    waiting = _waiting(session)
    found: list[tuple[int, PlainData]] = []
    for job in all_jobs(session):
        own = changes.get(job.id, [])
        state = state_after(own)
        if state is JobState.ARCHIVED and not archived:
            continue
        shown = job_for_page(session, job)
        if wanted and not _holds(_text(job, shown, own), wanted):
            continue
        # What is left is worked out for what is worked on; a closed job is done whatever its plan says.
        left = _left(session, job.id, profile) if state is JobState.OPEN else {}
        found.append((_ORDER[state], {**shown, "waiting": waiting.get(job.id, 0), **left}))
    return [shown for _, shown in sorted(found, key=lambda one: one[0])]


def _left(session: Session, job_id: str, profile: ShopProfile | None) -> PlainData:
    plans = job_plans(session, job_id, profile)
    counts = {name: sum(not task.done and not task.skipped for task in plan.tasks) for name, plan in plans.items()}
    return {"left": {name: count for name, count in counts.items() if count and plans[name].next is not None}}


def _waiting(session: Session) -> dict[str, int]:
    """Count the values that wait for a person, by job."""
    statement = select(ProposalRow.job_id, func.count()).where(ProposalRow.state == "open").group_by(ProposalRow.job_id)
    return {job_id: int(count) for job_id, count in session.exec(statement).all()}


def _text(job: JobRow, shown: JsonObject, changes: Sequence[JobChangeRow]) -> str:
    """Give everything that a job is found by, as one text."""
    given = parsed(job.description_json)
    parts = [str(shown.get(name) or "") for name in _SEARCHED] + [str(given.get("site") or "")]
    parts += [str(given.get("serial") or ""), *former_names(changes)]
    for name, fields in (("axes", ("name", "plate", "said")), ("instruments", ("label", "serial"))):
        listed = shown[name]
        for one in listed if isinstance(listed, list) else []:
            parts += [str(one.get(field) or "") for field in fields] if isinstance(one, dict) else []
    return " ".join(parts).casefold()


def _holds(text: str, wanted: Iterable[str]) -> bool:
    return all(word in text for word in wanted)
