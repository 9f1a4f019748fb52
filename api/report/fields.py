"""The labelled fields of the report: identity, conditions, instruments, and the list of ISO/IEC 17025:2017, 7.8.2.1."""

from __future__ import annotations

import datetime as dt

from api.ledger.canonical import PlainData
from api.report import wording
from api.report.content import EmbeddedPicture, Letterhead, ReportedAxis, ReportedInstrument, VerdictMark, VerdictText
from api.report.identity import Field, Issue
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


def identity(rows: Rows) -> tuple[Field, ...]:
    """Fill the title block: whose machine it is, who tested it when, and why."""
    job, given = rows.job, _given(rows)
    alarm = "; ".join(filter(None, (job.alarm_text, str(given.get("symptom") or ""))))
    return (
        Field(
            "Customer",
            ", ".join(filter(None, (job.customer, str(given.get("customer_contact") or "")))) or NOT_RECORDED,
        ),
        Field("Site", str(given.get("site") or NOT_RECORDED)),
        Field("Machine", job.machine + (f", serial {given['serial']}" if given.get("serial") else "")),
        Field("Job", f"{job.id}: {job.title}"),
        Field("Tested on", wording.listed(list(test_days(rows))) if rows.standing else "no value confirmed"),
        Field("Tested by", ", ".join(filter(None, (job.technician, str(given.get("company") or "")))) or NOT_RECORDED),
        Field("Alarm or symptom", alarm or NOT_RECORDED),
    )


def letterhead(rows: Rows, logo: EmbeddedPicture | None) -> Letterhead:
    """Say who issues the report and how to reach them."""
    given = _given(rows)
    return Letterhead(str(given.get("company") or ""), str(given.get("contact") or ""), logo)


def people(rows: Rows) -> tuple[Field, ...]:
    """Name who signs for what; a name that is not on record leaves its line to be written on."""
    by = wording.listed(sorted({r.confirmed_by for r in rows.standing if r.confirmed_by})) if rows.standing else ""
    return (
        Field("Measured and confirmed the values", by or rows.job.technician),
        Field("Received for the customer", rows.job.customer),
    )


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
                certificate=_certificate(given),
            )
        )
    return tuple(out)


def _certificate(given: PlainData) -> str:
    """Give number and date of a calibration certificate."""
    number, day = str(given.get("certificate") or ""), str(given.get("certificate_date") or "")
    return (
        " of ".join(filter(None, (number or ("dated" if day else ""), day))).replace("dated of", "dated")
        or NOT_RECORDED
    )


def _in_date(due: str | None, day: dt.date | None) -> VerdictText:
    if due is None or day is None:
        return VerdictText(VerdictMark.UNSURE, "not known")
    if dt.date.fromisoformat(due) >= day:
        return VerdictText(VerdictMark.PASS, "in date on the day of test")
    return VerdictText(VerdictMark.FAIL, "out of date on the day of test")


def deviations(rows: Rows, notices: tuple[str, ...]) -> tuple[str, ...]:
    """List what was added, left out or done otherwise than planned."""
    out = list(notices)
    out += [f"Record {r.id}: {r.note}" for r in rows.standing if r.note]
    return tuple(out)


def mapping(rows: Rows, issue: Issue, axes: tuple[ReportedAxis, ...]) -> tuple[Field, ...]:
    """List items a to p of ISO/IEC 17025:2017, 7.8.2.1, each with what this report has for it."""
    given, technician = _given(rows), rows.job.technician
    tested = [a.name for a in axes if a.verdict != wording.NOT_TESTED]
    left = [a.name for a in axes if a.verdict == wording.NOT_TESTED]
    sampled = f"Tested: {wording.listed(tested)}. Not tested: {wording.listed(left)}."
    return (
        Field("Title", wording.TITLE, "a"),
        Field("Name and address of the laboratory", str(given.get("company") or f"{technician}; no address"), "b"),
        Field("Location of the activity", str(given.get("site") or NOT_RECORDED), "c"),
        Field("Unique identification, one whole, clear end", f"{issue.number}; page numbers in print; END mark", "d"),
        Field("Customer", rows.job.customer or NOT_RECORDED, "e"),
        Field("Method", "Resistance and insulation resistance per axis, limits and rules named beside each value", "f"),
        Field("Items tested and their condition", f"{rows.job.machine}; {rows.job.alarm_text or 'no remark'}", "g"),
        Field("Date of receipt or sampling", "Tested where it stands; nothing was received or sampled", "h"),
        Field("Dates of the activity", wording.listed(list(test_days(rows))) if rows.standing else "none", "i"),
        Field("Date of issue", clock(issue.issued, issue.zone), "j"),
        Field("Sampling plan", sampled, "k"),
        Field("Relation to the items tested", wording.PROOF_NOTE, "l"),
        Field("Results with units", "Tables of each axis", "m"),
        Field("Additions, deviations, exclusions", "“Additions, deviations and exclusions”", "n"),
        Field("Person authorising the report", f"{technician}, who confirmed the values; signs on page one", "o"),
        Field("Results from external providers", "None", "p"),
    )
