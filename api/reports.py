"""Reports and bundles that were made: kept under their hash, noted in the trail, never replaced."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, select

from api.database import Database, last_head
from api.jobs import job_of
from api.store import Store
from api.tables import ReportFile, TrailEntry
from api.trail import Head, What


def keep_report(
    database: Database, store: Store, job_id: str, name: str, media_type: str, data: bytes, covers: Head | None = None
) -> ReportFile:
    """Keep a report; returns once it is durable and noted.

    Args:
        database: Where it is noted.
        store: The reports folder.
        job_id: The job.
        name: File name for people.
        media_type: E.g. "text/html".
        data: The report.
        covers: The head of the trail that the report was made from; None for the present one.

    Raises:
        NotFound: There is no such job.
        WriteFailed: The disk is full or refuses.
    """
    sha256 = store.put(data)
    with database.write() as transaction:
        job = job_of(transaction.session, job_id)
        covers = covers or transaction.head
        row = ReportFile(
            id=f"{job_id}-D{transaction.count(ReportFile, job_id) + 1}",
            job_id=job_id,
            name=name,
            media_type=media_type,
            sha256=sha256,
            size=len(data),
            trail_seq=covers.seq,
            trail_hash=covers.hash,
            made_at=transaction.now,
        )
        transaction.put(row)
        transaction.entry(What.REPORT_MADE, job_id, by=job.technician, note={"sha256": sha256})
    return row


def make_report(database: Database, evidence: Store, reports: Store, job_id: str) -> ReportFile:
    """Build a job's report and keep it; where nothing happened since the last one, that one is given again.

    Raises:
        NotFound: There is no such job.
    """
    from api.report.build import build_report

    with database.read() as session:
        job_of(session, job_id)
        head = last_head(session)
        for row in reversed(reports_of(session, job_id)):
            later = select(TrailEntry.what).where(TrailEntry.seq > row.trail_seq)
            if set(session.exec(later).all()) <= {What.REPORT_MADE.value}:
                return row
            break
        data = build_report(session, evidence, job_id)
    return keep_report(database, reports, job_id, f"report-{job_id}.html", "text/html; charset=utf-8", data, head)


def reports_of(session: Session, job_id: str) -> Sequence[ReportFile]:
    """A job's reports, oldest first."""
    rows = session.exec(select(ReportFile).where(ReportFile.job_id == job_id)).all()
    return sorted(rows, key=lambda row: int(row.id.rpartition("D")[2]))
