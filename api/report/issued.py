"""Reports that were made: kept under their hash, noted in the trail, never replaced."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session, select

from api.assessment.shop_limits import Shop
from api.ledger.canonical import JsonObject
from api.ledger.database import Database
from api.ledger.ids import in_order
from api.ledger.signing import SignedHead
from api.ledger.store import Store
from api.ledger.tables import ReportFileRow
from api.ledger.trail import Head, What
from api.proof.heads import key_to_sign
from api.report.content import Report
from api.report.exhibits import ReadFile
from api.report.progress import Progress, quiet
from api.report.proof import head_of_job
from api.report.render import render
from api.report.short import short_text
from api.report.table import table_csv
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
    tree_head: SignedHead | None = None,
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
        tree_head: The signed head that it prints, which the trail keeps as well; None where it prints none.

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
        transaction.entry(What.REPORT_MADE, job_id, by=job.technician, note=_note(sha256, profile_sha256, tree_head))
    return row


def _note(sha256: str, profile_sha256: str, tree_head: SignedHead | None) -> JsonObject:
    note: JsonObject = {"sha256": sha256}
    if profile_sha256:
        note["profile_sha256"] = profile_sha256
    if tree_head is not None:
        note["tree_head"] = tree_head.to_json()
    return note


class Form(StrEnum):
    """A form in which a report is made; all forms of one state of a job are one issue."""

    HTML = "html"
    PDF = "pdf"
    SHORT = "short"
    CSV = "csv"


class Paper(StrEnum):
    """Size of the paper that HTML and PDF are laid out for."""

    A4 = "a4"
    LETTER = "letter"


_NAMES = {Form.HTML: "{}.html", Form.PDF: "{}.pdf", Form.SHORT: "{}-short.txt", Form.CSV: "{}.csv"}
_TYPES = {
    Form.HTML: "text/html; charset=utf-8",
    Form.PDF: "application/pdf",
    Form.SHORT: "text/plain; charset=utf-8",
    Form.CSV: "text/csv; charset=utf-8",
}


_PICTURES = {Form.HTML: True, Form.PDF: None, Form.SHORT: False, Form.CSV: False}
"""Whether a form shows photos; a PDF does unless the visit is long."""


@dataclass(frozen=True)
class Wanted:
    """How a report is wanted.

    Attributes:
        form: HTML, PDF, short text or CSV.
        paper: Size of the paper; only HTML and PDF have one.
        logo: The issuer's logo, a PNG or JPEG file, or None.
        progress: Is told how far it is.
        reduced: For each clip and photo the hash of the copy that is shown in its place; None shows the originals. Only
            an HTML report can be reduced.
    """

    form: Form = Form.HTML
    paper: Paper = Paper.A4
    logo: bytes | None = None
    progress: Progress = quiet
    reduced: Mapping[str, str] | None = None

    def name(self, job_id: str) -> str:
        """Give the name of the file for people: "report-J1.html", "report-J1-letter.pdf", "report-J1-reduced.html"."""
        if self.reduced is not None:
            return f"report-{job_id}-reduced.html"
        sized = self.paper is not Paper.A4 and self.form in (Form.HTML, Form.PDF)
        return _NAMES[self.form].format(f"report-{job_id}{f'-{self.paper.value}' if sized else ''}")


def make_report(
    database: Database,
    evidence: Store,
    reports: Store,
    job_id: str,
    shop: Shop | None = None,
    wanted: Wanted | None = None,
) -> ReportFileRow:
    """Build a job's report and keep it; where nothing happened to the job since the last one, that one is given again.

    A report that was graded by another shop profile is not given again, nor one that was made without this logo.

    Raises:
        NotFound: There is no such job.
    """
    from api.report.build import read_content

    wanted, key = wanted or Wanted(), key_to_sign(database)
    copies = wanted.reduced or {}

    def read_file(sha256: str) -> bytes:
        return evidence.read(copies.get(sha256, sha256))

    profile_sha256 = "" if shop is None else shop.sha256
    name = wanted.name(job_id)
    with database.read() as session:
        job_of(session, job_id)
        # From the same snapshot as the content: the head printed in a report covers exactly what it shows.
        newest = head_of_job(session, job_id)
        head = Head() if newest is None else Head(newest.seq, 0, newest.hash)
        same = [
            row
            for row in reports_of(session, job_id)
            if (row.name, row.trail_hash, row.profile_sha256) == (name, head.hash, profile_sha256)
        ]
        if same and wanted.logo is None:
            return same[-1]
        content = read_content(
            session,
            read_file,
            job_id,
            shop=shop,
            key=key,
            logo=wanted.logo,
            pictures=_PICTURES[wanted.form],
            progress=wanted.progress,
            reduced=wanted.reduced is not None,
        )
    data = _written(content, read_file, wanted)
    digest = hashlib.sha256(data).hexdigest()
    known = next((row for row in same if row.sha256 == digest), None)
    if known is not None:
        return known
    return keep_report(
        database, reports, job_id, name, _TYPES[wanted.form], data, head, profile_sha256, content.proof.tree_head
    )


def _written(content: Report, read_file: ReadFile, wanted: Wanted) -> bytes:
    if wanted.form is Form.PDF:
        from api.report.pdf import pdf_of  # WeasyPrint is heavy, and needs libraries of the system

        return pdf_of(content, read_file, wanted.paper.value, wanted.progress)
    if wanted.form is Form.SHORT:
        return short_text(content)
    if wanted.form is Form.CSV:
        return table_csv(content)
    return render(content, read_file, wanted.paper.value)


def reports_of(session: Session, job_id: str) -> Sequence[ReportFileRow]:
    """Read a job's reports, oldest first."""
    rows = session.exec(select(ReportFileRow).where(ReportFileRow.job_id == job_id)).all()
    return in_order(rows)
