"""The values of the report as a table: one line for each value and limit, as written and in ohms."""

from __future__ import annotations

import csv
import io

from api.report.content import AppliedLimit, Report, ReportedValue

COLUMNS = (
    "report", "record", "axis", "state", "test", "section", "point", "value_as_shown", "bound", "ohms", "test_voltage",
    "after", "corrected", "limit", "source", "how_sure", "compared", "margin", "result", "remark", "instrument",
    "taken_at", "confirmed_at", "confirmed_by", "evidence_sha256",
)  # fmt: skip
"""Column names; times are ISO 8601 with offset, `ohms` is a plain number, everything else as the report writes it."""
_BOUNDS = {"=": "equal", ">": "above", "<": "below"}
_FORMULA = ("=", "+", "-", "@")


def table_csv(report: Report) -> bytes:
    """Write the table as CSV: UTF-8 with a byte order mark, as spreadsheets expect it; comma, quoted where needed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    axes = {value.record_id: axis.name for axis in report.axes for value in axis.values}
    for value in report.values:
        for limit in value.limits or (None,):
            writer.writerow(_cell(content) for content in _line(report, axes.get(value.record_id, ""), value, limit))
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def evidence_csv(report: Report) -> bytes:
    """Write every piece of evidence as CSV: number, kind, name of the file, times, size, what was understood, hash."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(("number", "kind", "file", "taken_at", "bytes", "understood", "not_read", "sha256"))
    for e in report.exhibits:
        line = (e.label, e.kind, e.file, e.captured or e.received, str(e.size), e.heard, e.problem, e.sha256)
        writer.writerow(_cell(content) for content in line)
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def _cell(content: str) -> str:
    """Keep a spreadsheet from taking text for a formula (OWASP, "CSV Injection"): a quote goes before it."""
    return f"'{content}" if content.startswith(_FORMULA) else content


def _line(report: Report, axis: str, value: ReportedValue, limit: AppliedLimit | None) -> tuple[str, ...]:
    state = "replaced" if value.superseded_by else "withdrawn" if value.withdrawn else "in force"
    first = (
        report.number, value.record_id, axis, state, value.test, value.section, value.point, value.shown,
        "" if value.ohms is None else _BOUNDS[value.bound], "" if value.ohms is None else f"{value.ohms:f}",
        value.voltage, value.elapsed, value.corrected,
    )  # fmt: skip
    held = ("", "", "", "", "", "", "") if limit is None else (
        limit.text, limit.source, limit.status, limit.compared, limit.margin, limit.verdict.text, limit.why
    )  # fmt: skip
    last = (value.instrument, value.taken_at, value.confirmed_at, value.confirmed_by, " ".join(value.exhibits))
    return (*first, *held, *last)
