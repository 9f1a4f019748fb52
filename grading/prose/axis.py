"""One axis in words: what a customer reads first, the figures behind it, the drive, and the cost of ignoring it."""

from __future__ import annotations

from collections.abc import Sequence

from grading.facts import Fact
from grading.finding import Finding, Urgency
from grading.isolation import Fault
from grading.prose.findings import finding_text
from grading.summary import DriveFact, DriveVerdict, Summary
from grading.terms.section import section_in_full
from grading.words import limit_value, limit_words, measured, place, sentence

NOTHING_FOUND = (
    "No abnormal resistance or insulation value was found at the tested positions. This does not exclude faults that "
    "depend on motion, temperature or operation."
)
_FAULTS: dict[Fault, str] = {
    Fault.CABLE: "the cable is the failed part. Replace it before re-energising.",
    Fault.MOTOR: "the motor is the failed part. Do not re-energise it from the drive.",
    Fault.BOTH: "motor and cable have both failed. Do not re-energise.",
    Fault.CONNECTOR_OR_MOISTURE: (
        "motor and cable are good by themselves but leak together. Open, clean and dry the connector and retest."
    ),
    Fault.BESIDE: (
        "a circuit beside the winding has failed (brake, sensor, tacho or fan); the winding is not judged by it."
    ),
    Fault.CONTRADICTORY: "the readings contradict each other. Repeat them before anything is replaced.",
}
_URGENCIES: dict[Urgency, str] = {
    Urgency.DO_NOT_ENERGISE: "a reading fails; do not re-energise from the drive until the failed part is found.",
    Urgency.SERVICE_LIMIT: "it can run only at the risk of a sudden failure: clean, dry, retest, and plan the repair.",
    Urgency.REPEAT: "these readings do not settle it. Repeat them as described below.",
    Urgency.WATCH: "within limits, but to be watched. Retest in {early} to {late} months.",
    Urgency.WITHIN_LIMITS: f"within limits at the time of test. {NOTHING_FOUND}",
    Urgency.INFORMATION: f"within limits at the time of test. {NOTHING_FOUND}",
}
_COSTS: dict[Urgency, str] = {
    Urgency.DO_NOT_ENERGISE: (
        "a leak to earth or a broken circuit on the drive's output can destroy its output stage, so the drive is at "
        "risk together with the axis."
    ),
    Urgency.SERVICE_LIMIT: "the winding may fail to earth in service, without warning, and take the drive along.",
    Urgency.REPEAT: "a real fault may stay hidden, or a good part may be replaced for nothing.",
    Urgency.WATCH: "a value that goes on falling ends in an unplanned stop.",
}


_NOTHING = (Urgency.WITHIN_LIMITS, Urgency.INFORMATION)
_WATCHED = (Fact.LOW_FOR_KIND, Fact.LOW_FOR_KIND_AT_40C, Fact.BELOW_CABLE_GUIDANCE)
_LIVE = "voltage or current was found on a circuit that must be dead. No insulation reading of this axis proves a pass."


def _located(summary: Summary) -> bool:
    serious = summary.urgency in (Urgency.DO_NOT_ENERGISE, Urgency.REPEAT)
    return summary.fault in _FAULTS and (serious or (summary.fault is Fault.BESIDE and _failed(summary)))


def _failed(summary: Summary) -> bool:
    return summary.urgency is Urgency.SERVICE_LIMIT


def _live(summary: Summary) -> bool:
    return summary.worst is not None and summary.worst.fact in (Fact.CIRCUIT_LIVE, Fact.NOT_PROVED_DEAD)


def _found(summary: Summary) -> str:
    if summary.worst is None:
        return "nothing was measured that can be judged."
    if _live(summary):
        return _LIVE
    if _located(summary):
        return _FAULTS[summary.fault]
    early, late = summary.retest_months
    return _URGENCIES[summary.urgency].format(early=f"{early:f}", late=f"{late:f}")


def headline_found(summary: Summary) -> str:
    """Write what a customer reads first: one or two plain sentences, without the axis."""
    return sentence(_found(summary))


def headline_figures(summary: Summary) -> str:
    """Write the figures behind it: the readings, or the finding, that carry the headline; "" where there are none."""
    if summary.worst is None:
        return ""
    if _live(summary) or summary.fault is Fault.BESIDE:
        return finding_text(summary.worst)
    if _located(summary) and summary.open_circuits:
        return " ".join(finding_text(finding) for finding in summary.open_circuits)
    if _located(summary) or summary.urgency in (Urgency.WITHIN_LIMITS, Urgency.INFORMATION):
        return _readings(summary)
    return finding_text(summary.worst)


def headline_text(summary: Summary) -> str:
    """Write the whole headline: axis, what was found, the figures behind it."""
    parts = (f"Axis {summary.axis}: {_found(summary)}", headline_figures(summary))
    return " ".join(part for part in parts if part)


def _readings(summary: Summary) -> str:
    """Write the worst reading of each part, cabinet first; the limit stands beside the first."""
    parts: list[str] = []
    for value in summary.values:
        held = f" ({limit_words(summary.limit)})" if not parts else ""
        parts.append(f"{section_in_full(value.section)} {measured(value)}{held}")
    return sentence("; ".join(parts)) if parts else ""


def headline_values(summary: Summary) -> str:
    """Write the few values behind the headline and the limit they are held to, for somebody who reads no further."""
    if summary.worst is None:
        return ""
    if _live(summary) or summary.fault is Fault.BESIDE:
        return finding_text(summary.worst)
    if _located(summary) and summary.open_circuits:
        return _open_points(summary.open_circuits)
    watched = summary.urgency is Urgency.WATCH
    if not summary.values or not (watched or _located(summary) or summary.urgency in _NOTHING):
        return finding_text(summary.worst)
    parts = [f"{value.quantity.display()} {section_in_full(value.section)}" for value in summary.values]
    text = f"{', '.join(parts)}; {summary.limit.direction.value} {limit_value(summary.limit)} is required"
    worst = summary.worst
    if watched and worst.limit is not None and worst.limit.id != summary.limit.id and worst.fact in _WATCHED:
        text += f", below {limit_value(worst.limit)} is watched"
    return sentence(text)


def _open_points(open_circuits: Sequence[Finding]) -> str:
    points = [
        f"{value.terminals}{'' if value.section is None else f', {section_in_full(value.section)}'}"
        for finding in open_circuits
        for value in finding.values[:1]
    ]
    return sentence(f"no connection between the leads: {'; '.join(points)}")


def cost_clause(summary: Summary) -> str:
    """Write what leaving it as it is may cost, as one sentence; "" where nothing is at stake."""
    return sentence(_COSTS[summary.urgency]) if _at_stake(summary) else ""


def cost_text(summary: Summary) -> str:
    """Write the same with its condition: "If ignored: ..."; "" where nothing is at stake."""
    return f"If ignored: {_COSTS[summary.urgency]}" if _at_stake(summary) else ""


def _at_stake(summary: Summary) -> bool:
    return summary.worst is not None and summary.urgency in _COSTS


def drive_text(drive: DriveVerdict) -> str:
    """Write whether the drive may be connected: fact and consequence."""
    if drive.fact is DriveFact.BELOW_FLOOR:
        named = "; ".join(f"{place(where)} {measured(value)}" for where, value in drive.values)
        more = f"; and {drive.more} more" if drive.more else ""
        return (
            "Do not re-energise from the drive: what it would feed leaks to earth more than a drive can bear "
            f"({limit_words(drive.floor)}). {named}{more}. The drive is at risk."
        )
    if drive.because is not None:
        return f"Do not re-energise from the drive. {finding_text(drive.because)}"
    if drive.fact is DriveFact.NOT_SHOWN:
        return "Whether the drive may be connected is not shown by these readings; see the next steps."
    return f"No reading to earth was too low for the drive ({limit_words(drive.floor)}) at the time of test."


def drive_short(drive: DriveVerdict) -> str:
    """Write the same without the values, where they stand beside it."""
    if drive.fact is DriveFact.BELOW_FLOOR:
        floor = f"{drive.floor.direction.value} {limit_value(drive.floor)}"
        return (
            "Do not re-energise from the drive: what it would feed leaks to earth more than a drive can bear "
            f"({floor} is needed). The drive is at risk."
        )
    return "Do not re-energise from the drive." if drive.because is not None else drive_text(drive)
