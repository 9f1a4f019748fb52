"""Reports and bundles that were made: kept under their hash, noted in the trail, never replaced."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session, select

from api.assessment.shop_limits import Shop
from api.ledger.canonical import parsed
from api.ledger.database import Database, last_head
from api.ledger.store import Store
from api.ledger.tables import ReportFileRow, TrailEntryRow
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
    sha256 = store.put(data)
    with database.write() as transaction:
        job = job_of(transaction.session, job_id)
        covers = covers or transaction.head
        row = ReportFileRow(
            id=f"{job_id}-D{transaction.count(ReportFileRow, job_id) + 1}",
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
        transaction.entry(What.REPORT_MADE, job_id, by=job.technician, note=_note(sha256, profile_sha256))
    return row


def _note(sha256: str, profile_sha256: str) -> dict[str, str]:
    return {"sha256": sha256} | ({"profile_sha256": profile_sha256} if profile_sha256 else {})


def _profile_of(session: Session, row: ReportFileRow) -> str:
    """Hash of the shop profile that a kept report was graded by, as the trail says; empty for none."""
    for text in session.exec(select(TrailEntryRow.body).where(TrailEntryRow.what == What.REPORT_MADE.value)):
        body = parsed(text)
        if any(item["table"] == "report_file" and item["key"] == row.id for item in body["rows"]):
            return str(body["note"].get("profile_sha256", ""))
    return ""


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
        head = last_head(session)
        for row in reversed(reports_of(session, job_id)):
            later = select(TrailEntryRow.what).where(TrailEntryRow.seq > row.trail_seq)
            unchanged = set(session.exec(later).all()) <= {What.REPORT_MADE.value}
            if unchanged and _profile_of(session, row) == profile_sha256:
                return row
            break
        data = build_report(session, evidence, job_id, shop=shop)
    name = f"report-{job_id}.html"
    return keep_report(database, reports, job_id, name, "text/html; charset=utf-8", data, head, profile_sha256)


def reports_of(session: Session, job_id: str) -> Sequence[ReportFileRow]:
    """A job's reports, oldest first."""
    rows = session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all()
    return sorted(rows, key=lambda row: int(row.id.rpartition("D")[2]))
