"""Reports and bundles that were made: kept under their hash, noted in the trail, never replaced."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, func, select

from api.assessment.shop_limits import Shop
from api.ledger.database import Database, last_head
from api.ledger.ids import in_order
from api.ledger.store import Store
from api.ledger.tables import ReportFileRow
from api.ledger.trail import Head, What
from api.visit.jobs import job_of


def keep_report(
    database: Database,
    store: Store,
    job_id: str,
    name: str,
    media_type: str,
    data: bytes,
    covers: Head | None = None,
    profile_sha256: str = "",
) -> ReportFileRow:
    """Keep a report; returns once it is durable and noted.

    Args:
        database: Where it is noted.
        store: The reports folder.
        job_id: The job.
        name: File name for people.
        media_type: E.g. "text/html".
        data: The report.
        covers: The head of the trail that the report was made from; None for the present one.
        profile_sha256: Hash of the shop profile that it was graded by; empty for the published limits.

    Raises:
        NotFound: There is no such job.
        WriteFailed: The disk is full or refuses.
    """
    # The file before its row, as with evidence: no row may name a report that is not there.
    sha256 = store.put(data)
    with database.write() as transaction:
        job = job_of(transaction.session, job_id)
        covers = covers or transaction.head
        row = ReportFileRow(
            id=transaction.next_id(ReportFileRow, job_id),
            job_id=job_id,
            name=name,
            media_type=media_type,
            sha256=sha256,
            size=len(data),
            trail_seq=covers.seq,
            trail_hash=covers.hash,
            made_at=transaction.now,
            profile_sha256=profile_sha256,
        )
        transaction.put(row)
        transaction.entry(What.REPORT_MADE, job_id, by=job.technician, note=_note(sha256, profile_sha256))
    return row


def _note(sha256: str, profile_sha256: str) -> dict[str, str]:
    return {"sha256": sha256} | ({"profile_sha256": profile_sha256} if profile_sha256 else {})


def _is_current(session: Session, row: ReportFileRow) -> bool:
    """Tell whether nothing but the making of reports was noted since a report's head: each of those is one entry."""
    since = select(func.count()).select_from(ReportFileRow).where(ReportFileRow.trail_seq >= row.trail_seq)
    return last_head(session).seq == row.trail_seq + session.exec(since).one()


def make_report(
    database: Database, evidence: Store, reports: Store, job_id: str, shop: Shop | None = None
) -> ReportFileRow:
    """Build a job's report and keep it; where nothing happened since the last one, that one is given again.

    A report that was graded by another shop profile is not given again.

    Raises:
        NotFound: There is no such job.
    """
    from api.report.build import build_report

    profile_sha256 = "" if shop is None else shop.sha256
    with database.read() as session:
        job_of(session, job_id)
        # From the same snapshot as the content: the head printed in a report covers exactly what it shows.
        head = last_head(session)
        for row in reversed(reports_of(session, job_id)):
            if row.profile_sha256 == profile_sha256 and _is_current(session, row):
                return row
            break  # only the newest can be current
        data = build_report(session, evidence, job_id, shop=shop)
    name = f"report-{job_id}.html"
    return keep_report(database, reports, job_id, name, "text/html; charset=utf-8", data, head, profile_sha256)


def reports_of(session: Session, job_id: str) -> Sequence[ReportFileRow]:
    """Read a job's reports, oldest first."""
    rows = session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all()
    return in_order(rows)
