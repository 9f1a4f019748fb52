"""The report as PDF/A-3 with tags and attachments, by WeasyPrint, from the same template as the HTML file.

The same content gives the same bytes on one installation: dates come from the report, the file's identifier from its
content, and attachments are those of the content. Nothing is fetched; pictures come from memory.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable
from datetime import UTC, datetime
from io import BytesIO

from weasyprint import HTML, Attachment
from weasyprint.text.fonts import FontConfiguration
from weasyprint.urls import URLFetcher, URLFetcherResponse

from api.report.content import EmbeddedPicture, Exhibit, Report
from api.report.progress import Progress, quiet
from api.report.render import page
from api.report.table import evidence_csv, table_csv

SCHEME = "report:"
"""Addresses of pictures within a PDF that is being made; nothing else is answered."""
VARIANT = "pdf/a-3a"


class _Pictures(URLFetcher):  # type: ignore[misc]  # WeasyPrint has no type hints
    """Answers the addresses that it gave out, and no others."""

    def __init__(self) -> None:
        super().__init__(allowed_protocols=())
        self._known: dict[str, bytes] = {}

    def address(self, picture: EmbeddedPicture) -> str:
        name = f"{SCHEME}{hashlib.sha256(picture.jpeg).hexdigest()}"
        self._known[name] = picture.jpeg
        return name

    def fetch(self, url: str, headers: object = None) -> URLFetcherResponse:  # noqa: ARG002 - as WeasyPrint calls it
        return URLFetcherResponse(url, self._known[url], {"Content-Type": "image/jpeg"})


class _Watcher(logging.Handler):
    """Hands on how far WeasyPrint has come, from what it logs of its own progress."""

    def __init__(self, progress: Progress) -> None:
        super().__init__(logging.INFO)
        self._progress = progress

    def emit(self, record: logging.LogRecord) -> None:
        page_number = record.getMessage().rpartition("Page ")[2]
        self._progress("Pages", int(page_number) if page_number.isdigit() else 0, 0)


def pdf_of(report: Report, read_file: Callable[[str], bytes], paper: str = "a4", progress: Progress = quiet) -> bytes:
    """Write the report as PDF/A-3.

    Args:
        report: Complete content.
        read_file: Gives the bytes of a stored file by its hash.
        paper: "a4" or "letter".
        progress: Is told how many pages are laid out.
    """
    pictures = _Pictures()
    html = page(report, paper=paper, on_paper=True, src=pictures.address, clip=_no_clip)
    logger, watcher = logging.getLogger("weasyprint.progress"), _Watcher(progress)
    level = logger.level
    logger.addHandler(watcher)
    logger.setLevel(logging.INFO)
    logger.propagate = False
    try:
        document = HTML(string=html, url_fetcher=pictures).render(
            font_config=FontConfiguration(), presentational_hints=False
        )
        document.metadata.attachments = _attachments(report, read_file)
        out = document.write_pdf(
            pdf_variant=VARIANT,
            pdf_identifier=hashlib.sha256(html.encode()).hexdigest()[:32].encode(),
            custom_metadata=False,
        )
    finally:
        logger.removeHandler(watcher)
        logger.setLevel(level)
    assert isinstance(out, bytes)
    return out


def _no_clip(exhibit: Exhibit) -> str:
    raise AssertionError(f"{exhibit.label} cannot play on paper")


def _attachments(report: Report, read_file: Callable[[str], bytes]) -> list[Attachment]:
    """Give the table of values, and the evidence that the content chose to hold whole."""
    made = datetime.fromisoformat(report.issue.issued).astimezone(UTC)
    ways = "".join(f"{way}\n" for _, way in report.ways).encode()
    tables = [
        Attachment(file_obj=BytesIO(content), name=f"{name}-{report.number}.{suffix}", description=description,
                   created=made, modified=made, relationship="Data")
        for name, suffix, description, content in (
            ("values", "csv", "Table of values, CSV", table_csv(report)),
            ("evidence", "csv", "Table of evidence, CSV", evidence_csv(report)),
            ("ways", "txt", "The way of each value", ways),
        )
    ]  # fmt: skip
    return tables + [
        Attachment(
            file_obj=BytesIO(read_file(e.sha256)), name=e.file, description=f"{e.kind} {e.label}, SHA-256 {e.sha256}",
            created=made, modified=made, relationship="Source",
        )
        for e in report.exhibits
        if e.attached
    ]  # fmt: skip
