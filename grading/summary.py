"""What the customer reads first, as facts: what carries the headline, the drive, and what every report must say."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum

from grading.case import Case, in_ohm
from grading.facts import Fact, MeasuredValue, Place
from grading.finding import Finding, Urgency, Verdict
from grading.interval import Side
from grading.isolation import Fault
from grading.limit import Limit
from grading.reading import BoundedReading, Shape
from grading.terms.quantity import TO_EARTH_KINDS, QuantityKind
from grading.terms.record import record
from grading.terms.section import Section

MOST_NAMED = 3
"""Readings named in the statement on the drive; the rest are counted."""


@record
class Summary:
    """What carries the headline of an axis.

    Attributes:
        axis: Axis name.
        urgency: The finer word of the worst finding.
        fault: Where isolation puts the fault.
        worst: The worst finding; None where nothing can be judged.
        open_circuits: The first open circuit of each part, cabinet first.
        values: The worst reading to earth of each part, cabinet first.
        limit: The floor of the machine, beside the first of them.
        retest_months: When a value that is watched is taken again, earliest and latest.
    """

    axis: str
    urgency: Urgency
    fault: Fault
    worst: Finding | None
    open_circuits: tuple[Finding, ...]
    values: tuple[MeasuredValue, ...]
    limit: Limit
    retest_months: tuple[Decimal, Decimal]


def summarise(case: Case, fault: Fault, judged: Sequence[Finding]) -> Summary:
    """Collect what carries the headline.

    Args:
        case: The axis.
        fault: Where isolation puts the fault.
        judged: Findings that judge, most serious first.
    """
    opened: dict[Section | None, Finding] = {}
    for finding in judged:
        if finding.fact in (Fact.CIRCUIT_OPEN, Fact.CORE_BROKEN):
            opened.setdefault(finding.section, finding)
    return Summary(
        axis=case.context.axis,
        urgency=judged[0].urgency if judged else Urgency.REPEAT,
        fault=fault,
        worst=judged[0] if judged else None,
        open_circuits=tuple(opened[section] for section in Section if section in opened),
        values=tuple(_worst_of_parts(case)),
        limit=case.limit("insulation.machine"),
        retest_months=(case.limit("insulation.retest_early").value, case.limit("insulation.retest_late").value),
    )


def _worst_of_parts(case: Case) -> list[MeasuredValue]:
    found: list[MeasuredValue] = []
    for section in (Section.THROUGH_CABLE, Section.CABLE_ALONE, Section.MOTOR_ALONE):
        known = [r for r in _to_earth(case) if r.section is section]
        readings = [r for r in known if r.kind is QuantityKind.INSULATION_RESISTANCE] or known
        if readings:
            worst = min(readings, key=lambda r: (r.shape is not Shape.COLLAPSED, r.interval.high, r.interval.low))
            found.append(worst.cited)
    return found


def _to_earth(case: Case) -> list[BoundedReading]:
    tested = QuantityKind.INSULATION_RESISTANCE
    usable = (Shape.POINT, Shape.OVER, Shape.UNDER, Shape.COLLAPSED)
    return [
        r
        for kind in (tested, *(TO_EARTH_KINDS - {tested}))
        for r in case.of(kind)
        if r.shape in usable and (kind is tested or r.shape is not Shape.OVER)
    ]


class DriveFact(StrEnum):
    """What is known of connecting the drive."""

    BELOW_FLOOR = "below_floor"  # something that it would feed leaks to earth
    FORBIDDEN = "forbidden"  # a finding forbids it
    NOT_SHOWN = "not_shown"  # these readings do not show it
    NOT_BELOW_FLOOR = "not_below_floor"


@record
class DriveVerdict:
    """Whether the drive may be connected to what was measured.

    Attributes:
        verdict: Unacceptable where any part measured is below the floor.
        fact: What it rests on.
        floor: The floor of what a servo amplifier is connected to.
        record_ids: The records it rests on.
        values: The first readings below the floor, with their places.
        more: How many more there are.
        because: The finding that forbids it, or None.
    """

    verdict: Verdict
    fact: DriveFact
    floor: Limit
    record_ids: tuple[str, ...] = ()
    values: tuple[tuple[Place, MeasuredValue], ...] = ()
    more: int = 0
    because: Finding | None = None


_SHORTED_OR_OPEN = (Fact.PHASES_UNEQUAL, Fact.OFF_NAMEPLATE, Fact.JOINT_BAD, Fact.CORE_RESISTS)
"""What shorted turns or a conductor about to open look like: neither leaks to earth, and both can harm the drive."""


def _leaves_open(finding: Finding) -> bool:
    """Tell whether a finding leaves open what the drive would be connected to."""
    if finding.verdict in (Verdict.INCONCLUSIVE, Verdict.UNACCEPTABLE):
        return True
    return finding.verdict is Verdict.MARGINAL and finding.fact in _SHORTED_OR_OPEN


def judge_drive(case: Case, findings: Sequence[Finding]) -> DriveVerdict:
    """Judge whether the drive may be connected: the floor of common practice, and every finding that forbids it.

    Args:
        case: The axis.
        findings: Its findings, most serious first.
    """
    floor = case.limit("insulation.drive_floor")
    bar = in_ohm(floor)
    readings = [r for r in _to_earth(case) if r.to_earth or r.section is Section.CABLE_ALONE]
    low = [r for r in readings if r.shape is Shape.COLLAPSED or r.interval.side_of(bar) is Side.BELOW]
    if low:
        named = tuple((r.place, r.cited) for r in low[:MOST_NAMED])
        ids = tuple(r.id for r in low)
        return DriveVerdict(Verdict.UNACCEPTABLE, DriveFact.BELOW_FLOOR, floor, ids, named, len(low) - len(named))
    forbidding = [f for f in findings if f.urgency is Urgency.DO_NOT_ENERGISE]
    if forbidding:
        ids = tuple(i for f in forbidding for i in f.record_ids)
        return DriveVerdict(Verdict.UNACCEPTABLE, DriveFact.FORBIDDEN, floor, ids, because=forbidding[0])
    ids = tuple(r.id for r in readings)
    # Only the whole has everything in it that the drive would feed, the connectors too.
    judged = [
        f
        for f in findings
        if f.rule == "insulation.machine"
        and f.urgency is not Urgency.INFORMATION
        and f.section is Section.THROUGH_CABLE
    ]
    if not judged or any(_leaves_open(f) for f in findings if f.urgency is not Urgency.INFORMATION):
        return DriveVerdict(Verdict.INCONCLUSIVE, DriveFact.NOT_SHOWN, floor, ids)
    return DriveVerdict(Verdict.ACCEPTABLE, DriveFact.NOT_BELOW_FLOOR, floor, ids)
