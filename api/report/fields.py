"""The labelled fields of the report: identity, conditions, instruments, and the list of ISO/IEC 17025:2017, 7.8.2.1."""

from __future__ import annotations

import datetime as dt

from api.ledger.canonical import PlainData
from api.report import wording
from api.report.content import Field, ReportedAxis, ReportedInstrument, VerdictMark, VerdictText
from api.report.render import clock
from api.report.rows import Rows, loads

NOT_RECORDED = "not recorded"
KINDS = {
    "insulation_tester": "Insulation tester",
    "multimeter": "Multimeter",
    "milliohmmeter": "Four-wire resistance meter",
    "thermometer": "Thermometer",
    "hygrometer": "Hygrometer",
    "other": "Other",
}


def _given(rows: Rows) -> PlainData:
    found = loads(rows.job.description_json)
    return found if isinstance(found, dict) else {}


def test_days(rows: Rows) -> tuple[str, ...]:
    """Give the days on which the values in force were taken, by the capturing device's own calendar."""
    return tuple(sorted({r.captured_at[:10] for r in rows.standing}))


def identity(rows: Rows, number: str, issued: str) -> tuple[Field, ...]:
    """Fill the title block."""
    job, given = rows.job, _given(rows)
    fields = [
        Field("Report number", number),
        Field("Job", f"{job.id}: {job.title}"),
        Field("Customer", job.customer or NOT_RECORDED),
        Field("Site", str(given.get("site") or NOT_RECORDED)),
        Field("Machine", job.machine + (f", serial {given['serial']}" if given.get("serial") else "")),
        Field("Tested by", ", ".join(filter(None, (job.technician, str(given.get("company") or "")))) or NOT_RECORDED),
        Field("Tested on", wording.listed(list(test_days(rows))) if rows.standing else "no value confirmed"),
        Field("Issued", clock(issued)),
        Field("Alarm or symptom", "\n".join(filter(None, (job.alarm_text, str(given.get("symptom") or "")))) or "–"),
    ]
    return tuple(fields)


def conditions(rows: Rows) -> tuple[Field, ...]:
    """Give the conditions: air and windings."""
    job = rows.job
    fields = [
        Field("Air temperature", f"{job.air_c} °C" if job.air_c else NOT_RECORDED),
        Field("Relative humidity", f"{job.humidity_percent} %" if job.humidity_percent else NOT_RECORDED),
    ]
    fields += [
        Field(f"Winding of axis {a.name}", f"{a.winding_c} °C" if a.winding_c else NOT_RECORDED) for a in rows.axes
    ]
    return tuple(fields)


def instruments(rows: Rows) -> tuple[ReportedInstrument, ...]:
    """List the instruments with accuracy, and whether their calibration was in date on the last day of testing."""
    days = test_days(rows)
    last = dt.date.fromisoformat(days[-1]) if days else None
    out = []
    for row in rows.instruments:
        given = loads(row.description_json)
        parts = [
            f"{value} {word}"
            for value, word in ((row.accuracy_percent, "% of reading"), (row.accuracy_counts, "counts"))
            if value
        ]
        out.append(
            ReportedInstrument(
                name=" ".join(filter(None, (row.label, str(given.get("name") or "")))),
                serial=str(given.get("serial") or NOT_RECORDED),
                kind=KINDS.get(row.kind, row.kind),
                accuracy=f"±({' + '.join(parts)})" if parts else NOT_RECORDED,
                calibration=f"due {row.calibration_due}" if row.calibration_due else NOT_RECORDED,
                in_date=_in_date(row.calibration_due, last),
            )
        )
    return tuple(out)


def _in_date(due: str | None, day: dt.date | None) -> VerdictText:
    if due is None or day is None:
        return VerdictText(VerdictMark.UNSURE, "not known")
    if dt.date.fromisoformat(due) >= day:
        return VerdictText(VerdictMark.PASS, "in date on the day of test")
    return VerdictText(VerdictMark.FAIL, "out of date on the day of test")


def deviations(rows: Rows, axes: tuple[ReportedAxis, ...], notices: tuple[str, ...]) -> tuple[str, ...]:
    """List what was added, left out or done otherwise than planned."""
    out = list(notices)
    out += [f"Record {r.id}: {r.note}" for r in rows.standing if r.note]
    out += [f"Axis {a.name}: {text}" for a in axes for text in a.not_tested]
    return tuple(out)


def mapping(rows: Rows, number: str, issued: str, axes: tuple[ReportedAxis, ...], technician: str) -> tuple[Field, ...]:
    """List items a to p of ISO/IEC 17025:2017, 7.8.2.1, each with what this report has for it."""
    given = _given(rows)
    tested = [a.name for a in axes if a.verdict != wording.NOT_TESTED]
    left = [a.name for a in axes if a.verdict == wording.NOT_TESTED]
    sampled = f"Tested: {wording.listed(tested)}. Not tested: {wording.listed(left)}."
    return (
        Field("Title", wording.TITLE, "a"),
        Field("Name and address of the laboratory", str(given.get("company") or f"{technician}; no address"), "b"),
        Field("Location of the activity", str(given.get("site") or NOT_RECORDED), "c"),
        Field("Unique identification, one whole, clear end", f"{number}; page numbers in print; END mark", "d"),
        Field("Customer", rows.job.customer or NOT_RECORDED, "e"),
        Field("Method", "Resistance and insulation resistance per axis, limits and rules named beside each value", "f"),
        Field("Items tested and their condition", f"{rows.job.machine}; {rows.job.alarm_text or 'no remark'}", "g"),
        Field("Date of receipt or sampling", "Tested where it stands; nothing was received or sampled", "h"),
        Field("Dates of the activity", wording.listed(list(test_days(rows))) if rows.standing else "none", "i"),
        Field("Date of issue", clock(issued), "j"),
        Field("Sampling plan", sampled, "k"),
        Field("Relation to the items tested", wording.PROOF_NOTE, "l"),
        Field("Results with units", "Tables of each axis", "m"),
        Field("Additions, deviations, exclusions", "Section “Conditions, instruments and method”", "n"),
        Field("Person authorising the report", f"{technician}, who confirmed the values; no signature applied", "o"),
        Field("Results from external providers", "None", "p"),
    )
