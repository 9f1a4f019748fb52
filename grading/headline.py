"""What the customer reads first: the headline, the drive, and what ignoring it would cost."""

from __future__ import annotations

from collections.abc import Sequence

from grading.case import Case, in_ohm, retest_months
from grading.finding import DriveVerdict, Fault, Finding, Urgency, Verdict
from grading.interval import Side
from grading.reading import BoundedReading, Shape
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.terms.terminals import to_earth
from grading.words import limit_words, measured, place, sentence

NOTHING_FOUND = (
    "No abnormal resistance or insulation value was found at the tested positions. This does not exclude faults that "
    "depend on motion, temperature or operation."
)

_FAULT_WORDS: dict[Fault, str] = {
    Fault.CABLE: "the cable is the failed part. Replace it before re-energising.",
    Fault.MOTOR: "the motor is the failed part. Do not re-energise it from the drive.",
    Fault.BOTH: "motor and cable have both failed. Do not re-energise.",
    Fault.CONNECTOR_OR_MOISTURE: (
        "motor and cable are good apart but leak together. Open, clean and dry the connector and retest."
    ),
    Fault.CONTRADICTORY: "the readings contradict each other. Repeat them before anything is replaced.",
}
_URGENCY_WORDS: dict[Urgency, str] = {
    Urgency.DO_NOT_ENERGISE: "a reading fails; do not re-energise from the drive until the failed part is found.",
    Urgency.SERVICE_LIMIT: "serviceable only at risk: clean, dry, retest, and plan the repair.",
    Urgency.REPEAT: "these readings do not settle it; repeat as described below.",
    Urgency.WATCH: "within limits but worth watching; retest in {months} or as described below.",
}
MOST_NAMED = 3
"""Readings named in the statement on the drive; the rest are counted."""
_CIRCUIT = ("winding.open", "winding.continuity")
_COST: dict[Urgency, str] = {
    Urgency.DO_NOT_ENERGISE: (
        "If ignored: a leak to earth or a broken circuit on the drive's output can destroy its output stage, so the "
        "drive is at risk together with the axis."
    ),
    Urgency.SERVICE_LIMIT: (
        "If ignored: the winding may fail to earth in service, without warning, and take the drive along."
    ),
    Urgency.REPEAT: "If ignored: a real fault may stay hidden, or a good part may be replaced for nothing.",
    Urgency.WATCH: "If ignored: a value that goes on falling ends in an unplanned stop.",
}


def headline(case: Case, fault: Fault, urgency: Urgency, ranked: Sequence[Finding]) -> str:
    """One or two plain sentences, then the readings that carry them."""
    axis = f"Axis {case.context.axis}: "
    facts = _facts(case)
    located = fault in _FAULT_WORDS and urgency in (Urgency.DO_NOT_ENERGISE, Urgency.REPEAT)
    if located:
        opened = [f for f in ranked if f.rule in _CIRCUIT and f.verdict is Verdict.UNACCEPTABLE]
        circuit = {f.section: f.statement for f in reversed(opened)}  # the first of each part
        words = [circuit[section] for section in (*Section,) if section in circuit]
        return " ".join([f"{axis}{_FAULT_WORDS[fault]}", *words]) + ("" if words else facts)
    if urgency in (Urgency.WITHIN_LIMITS, Urgency.INFORMATION):
        return f"{axis}within limits at the time of test. {NOTHING_FOUND}{facts}"
    first = f" {ranked[0].statement}" if ranked else ""
    return f"{axis}{_URGENCY_WORDS[urgency].format(months=retest_months(case))}{first}"


def cost(urgency: Urgency) -> str:
    """What is at stake if nothing is done; "" where nothing is."""
    return _COST.get(urgency, "")


def _facts(case: Case) -> str:
    """The worst insulation reading of each part, cabinet first."""
    parts: list[str] = []
    limit = case.limit("insulation.machine")
    for section in (Section.THROUGH_CABLE, Section.CABLE_ALONE, Section.MOTOR_ALONE):
        known = [r for r in _to_earth(case) if r.section is section]
        readings = [r for r in known if r.measurement.kind is QuantityKind.INSULATION_RESISTANCE] or known
        if readings:
            worst = min(readings, key=lambda r: (r.shape is not Shape.COLLAPSED, r.interval.high, r.interval.low))
            held = f" ({limit_words(limit)})" if not parts else ""
            parts.append(f"{section_in_full(section)} {measured(worst.measurement)}{held}")
    return f" {sentence('; '.join(parts))}" if parts else ""


def _to_earth(case: Case) -> list[BoundedReading]:
    replaced = {r.id for r in case.after_cleaning()}
    kinds = (QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND)
    usable = (Shape.POINT, Shape.OVER, Shape.UNDER, Shape.COLLAPSED)
    return [
        r
        for kind in kinds
        for r in case.of(kind)
        if r.id not in replaced and r.shape in usable and (kind is kinds[0] or r.shape is not Shape.OVER)
    ]


def judge_drive(case: Case, findings: Sequence[Finding]) -> DriveVerdict:
    """Whether the drive may be connected: the floor of common practice, and every finding that forbids it.

    Args:
        case: The axis.
        findings: Its findings, most serious first.
    """
    limit = case.limit("insulation.drive_floor")
    bar = in_ohm(limit)
    readings = [r for r in _to_earth(case) if to_earth(r.measurement.terminals) or r.section is Section.CABLE_ALONE]
    low = [r for r in readings if r.shape is Shape.COLLAPSED or r.interval.side_of(bar) is Side.BELOW]
    if low:
        facts = "; ".join(f"{place(r.measurement)} {measured(r.measurement)}" for r in low[:MOST_NAMED])
        more = f"; and {len(low) - MOST_NAMED} more" if len(low) > MOST_NAMED else ""
        text = (
            "Do not re-energise from the drive: what it would feed leaks to earth below its floor "
            f"({limit_words(limit)}). {facts}{more}. The drive is at risk."
        )
        return DriveVerdict(Verdict.UNACCEPTABLE, text, tuple(r.id for r in low))
    forbidding = [f for f in findings if f.urgency is Urgency.DO_NOT_ENERGISE]
    if forbidding:
        text = f"Do not re-energise from the drive. {forbidding[0].statement}"
        return DriveVerdict(Verdict.UNACCEPTABLE, text, tuple(i for f in forbidding for i in f.record_ids))
    judged = [f for f in findings if f.rule == "insulation.machine" and f.urgency is not Urgency.INFORMATION]
    doubtful = [f for f in findings if f.rule.startswith("insulation.") and f.verdict is Verdict.INCONCLUSIVE]
    if not judged or doubtful:
        text = "Whether the drive may be connected is not shown by these readings; see the next steps."
        return DriveVerdict(Verdict.INCONCLUSIVE, text, tuple(r.id for r in readings))
    text = f"No reading to earth was below the floor for the drive ({limit_words(limit)}) at the time of test."
    return DriveVerdict(Verdict.ACCEPTABLE, text, tuple(r.id for r in readings))
