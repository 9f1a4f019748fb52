"""Which job a value belongs to: by the axis that was named, or as a person said once for the batch."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass

from sqlmodel import Session

from api.day.errors import BadDayJob
from api.visit.changes import JobState, changes_by_job, require_open, state_after
from api.visit.jobs import all_jobs, job_of, read_job
from capture.language.axis_names import spoken_names

_SAID = re.compile(r"(J\d+)(?:@(\d{1,2}):(\d{2}))?", re.IGNORECASE)


@dataclass(frozen=True)
class JobAxes:
    """A job that the day may belong to.

    Attributes:
        id: Its number.
        said: Its axes' own names by what is said for them.
        machine: The machine's name.
    """

    id: str
    said: dict[str, str]
    machine: str = ""


@dataclass(frozen=True)
class JobPlan:
    """The jobs of a day.

    Attributes:
        jobs: Those that can be meant, in order of number.
        windows: From which time of day on which job holds; empty where nobody said.
    """

    jobs: tuple[JobAxes, ...]
    windows: tuple[tuple[dt.time, str], ...] = ()

    def at(self, instant: dt.datetime) -> JobAxes | None:
        """Give the job that was said for a time; the only one where there is one; None where nobody can tell."""
        if len(self.jobs) == 1:
            return self.jobs[0]
        begun = [job_id for begin, job_id in self.windows if begin <= instant.time()]
        return self.by_id(begun[-1]) if begun else None

    def by_id(self, job_id: str) -> JobAxes:
        """Give a job by its number."""
        return next(job for job in self.jobs if job.id == job_id)

    def announced(self) -> list[tuple[str, str]]:
        """List what can be said for each job: its number, with its machine."""
        return [(job.id, job.machine) for job in self.jobs]

    def of_axis(self, said: str, present: JobAxes | None) -> JobAxes | None:
        """Give the job that has an axis: the present one if it does, else the only one; None where nobody can tell."""
        if present is not None and said in present.said:
            return present
        having = [job for job in self.jobs if said in job.said]
        return having[0] if len(having) == 1 else None

    def axes(self, present: JobAxes | None) -> tuple[str, ...]:
        """List what can be said for an axis: of the present job where it was said for the time, else of all."""
        jobs: Sequence[JobAxes] = self.jobs if present is None or not self.windows else (present,)
        return tuple(dict.fromkeys(name for job in jobs for name in job.said))


def job_plan(session: Session, said: Sequence[str]) -> JobPlan:
    """Find the jobs that a day may belong to.

    Args:
        session: Where to look.
        said: What a person said: "J1", "J2@14:10"; where it is empty, any job may be meant.

    Raises:
        BadDayJob: It names no job.
        NoSuchJob: There is no such job.
        JobNotOpen: One that was named is closed or archived.
    """
    windows: list[tuple[dt.time, str]] = []
    for text in said:
        match = _SAID.fullmatch(text.strip())
        if match is None or int(match[2] or 0) > 23 or int(match[3] or 0) > 59:
            raise BadDayJob(given=text)
        job_of(session, match[1].upper())
        require_open(session, match[1].upper())
        windows.append((dt.time(int(match[2] or 0), int(match[3] or 0)), match[1].upper()))
    changes = changes_by_job(session)
    still = [job.id for job in all_jobs(session) if state_after(changes.get(job.id, ())) is JobState.OPEN]
    ids = [job_id for _, job_id in windows] or still
    jobs = []
    for job_id in sorted(dict.fromkeys(ids), key=lambda one: int(one[1:])):
        names = spoken_names(read_job(session, job_id).axis_names)
        said_for = {spoken: name for name, spoken in names.items()}
        jobs.append(JobAxes(job_id, said_for, job_of(session, job_id).machine))
    return JobPlan(tuple(jobs), tuple(sorted(windows)))
