"""Reports and bundles that were made: kept under their hash, noted in the trail, never replaced."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, select

from api.database import Database
from api.jobs import job_of
from api.store import Store
from api.tables import ReportFile
from api.trail import What


def keep_report(database: Database, store: Store, job_id: str, name: str, media_type: str, data: bytes) -> ReportFile:
    """Keep a report; returns once it is durable and noted.

    Raises:
        NotFound: There is no such job.
        WriteFailed: The disk is full or refuses.
    """
    sha256 = store.put(data)
    with database.write() as transaction:
        job = job_of(transaction.session, job_id)
        row = ReportFile(
            id=f"{job_id}-D{transaction.count(ReportFile, job_id) + 1}",
            job_id=job_id,
            name=name,
            media_type=media_type,
            sha256=sha256,
            size=len(data),
            trail_seq=transaction.head.seq,
            trail_hash=transaction.head.hash,
            made_at=transaction.now,
        )
        transaction.put(row)
        transaction.entry(What.REPORT_MADE, job_id, by=job.technician, note={"sha256": sha256})
    return row


def reports_of(session: Session, job_id: str) -> Sequence[ReportFile]:
    """A job's reports, oldest first."""
    rows = session.exec(select(ReportFile).where(ReportFile.job_id == job_id)).all()
    return sorted(rows, key=lambda row: int(row.id.rpartition("D")[2]))
