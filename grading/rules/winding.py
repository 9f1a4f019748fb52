"""Winding resistance lead to lead: open, below the meter's resolution, and what the size of the value tells.

Lead to lead is a series circuit, so the logic is the reverse of insulation: "open" is a fault here.
"""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case, in_ohm, judged, note, repeat
from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import is_open
from grading.rules.phases import judge_phases, point_readings
from grading.rules.resistance import judge_armature, judge_joint, judge_nameplate
from grading.steps import ReasonKind, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section

OPEN = "winding.open"
CONTINUITY = "winding.continuity"


def judge_winding(case: Case) -> Iterator[Finding]:
    """Judge all lead-to-lead and end-to-end readings of the axis."""
    for reading in case.of(QuantityKind.WINDING_RESISTANCE):
        yield _one(case, reading)
    for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE):
        points = point_readings(case, section)
        if case.context.motor_kind is MotorKind.DC_SERVO:
            yield from judge_armature(case, points)
        else:
            yield from judge_phases(case, points)
        yield from judge_nameplate(case, points)
    yield from judge_joint(case)
    for reading in case.of(QuantityKind.CONTINUITY):
        yield _continuity(case, reading)


def _one(case: Case, reading: BoundedReading) -> Finding:
    if reading.shape is Shape.NONE:
        following = step(StepKind.READ_AGAIN, reading.basis)
        return repeat(OPEN, Fact.NO_VALUE, following, reading, reason=reading.basis)
    if is_open(case, reading):
        through = reading.section is Section.THROUGH_CABLE
        reason = ReasonKind.CABLE_OR_WINDING_OPEN if through else ReasonKind.WINDING_OPEN
        return judged(
            OPEN,
            Fact.CIRCUIT_OPEN,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            reading,
            next_step=step(StepKind.CHECK_CIRCUIT, reason),
        )
    if reading.shape is Shape.OVER:
        return repeat(OPEN, Fact.ABOVE_RANGE, step(StepKind.HIGHER_RANGE, ReasonKind.ABOVE_RANGE), reading)
    if reading.shape is Shape.UNDER or reading.value == 0:
        following = step(StepKind.FOUR_WIRE, ReasonKind.LOOK_ALIKE, Settling.MILLIOHMS)
        return repeat(OPEN, Fact.BELOW_RESOLUTION, following, reading)
    return note(OPEN, Fact.CIRCUIT_CLOSED, reading)


def _continuity(case: Case, reading: BoundedReading) -> Finding:
    if reading.shape is Shape.NONE:
        following = step(StepKind.MEASURE_CORE, reading.basis)
        return repeat(CONTINUITY, Fact.NO_VALUE, following, reading, reason=reading.basis)
    if is_open(case, reading):
        return judged(
            CONTINUITY,
            Fact.CORE_BROKEN,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            reading,
            next_step=step(StepKind.REPLACE_CABLE_OR_PLUG, ReasonKind.CORE_BROKEN),
        )
    limit = case.limit("winding.core")
    if reading.interval.low > in_ohm(limit):
        return judged(
            CONTINUITY,
            Fact.CORE_RESISTS,
            Verdict.MARGINAL,
            Urgency.WATCH,
            reading,
            limit=limit,
            next_step=step(StepKind.INSPECT_JOINTS, ReasonKind.SERIES_RESISTANCE, Settling.CHANGES_WHEN_MOVED),
        )
    return note(CONTINUITY, Fact.CORE_CONTINUOUS, reading)
