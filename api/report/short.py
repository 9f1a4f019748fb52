"""The short form: page one as plain text, to be read on a phone or sent as a message."""

from __future__ import annotations

from api.report.content import Report
from api.report.plot import SIGNS
from api.report.render import when
from api.report.wording import CAUTION_SHORT


def short_text(report: Report) -> bytes:
    """Write verdict, what to do, what was not tested, cautions and how to check, as UTF-8 text of short paragraphs."""
    zone = report.issue.zone
    lines = [f"{report.title}", f"Report {report.number}, issued {when(report.issue.issued, zone)}"]
    if report.issue.earlier:
        lines.append(f"Replaces {report.issue.earlier}")
    lines += [f"{field.label}: {field.text}" for field in report.identity]
    lines += ["", "VERDICT", report.opening]
    for axis in report.axes:
        lines += ["", f"{SIGNS[axis.verdict.mark.value]} {axis.name}: {axis.verdict.text}", axis.headline]
        lines += [axis.figures] if axis.figures else []
    lines += ["", "WHAT TO DO, IN THIS ORDER (we recommend)"]
    lines += [f"{i}. {name}: {action}" for i, (name, action) in enumerate(report.actions, 1)] or ["Nothing to do."]
    untested = [f"- {axis.name}: {text}" for axis in report.axes for text in axis.not_tested]
    lines += ["", "NOT TESTED", *(untested or ["Every point of the plan has a confirmed value."])]
    lines += ["", "CAUTION", CAUTION_SHORT, "", f"Trail entry {report.proof.entries}, hash {report.proof.head}"]
    lines.append(
        f"In words, signed by key {report.proof.key}: {report.proof.words}"
        if report.proof.words
        else report.proof.unsigned
    )
    if not report.proof.intact:
        lines.append(f"THE TRAIL IS NOT INTACT: {report.proof.problem}")
    return ("\n".join([*lines, f"END of report {report.number}"]) + "\n").encode("utf-8")
