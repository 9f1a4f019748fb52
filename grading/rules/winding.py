"""Winding resistance lead to lead: open, below the meter's resolution, and what the size of the value tells.

Lead to lead is a series circuit, so the logic is the reverse of insulation: "open" is a fault here.
"""

from __future__ import annotations

from collections.abc import Iterator

from grading.advice import CHECK_CIRCUIT
from grading.case import Case, note, repeat
from grading.finding import Finding, NextStep, Urgency, Verdict
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import is_open
from grading.rules.phases import judge_phases, point_readings
from grading.rules.resistance import judge_armature, judge_joint, judge_nameplate
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.words import measured, place, sentence

OPEN = "winding.open"


def judge_winding(case: Case) -> Iterator[Finding]:
    """All lead-to-lead and end-to-end readings of the axis."""
    for reading in case.of(QuantityKind.WINDING_RESISTANCE):
        yield from _one(case, reading)
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


def _one(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    where, fact = place(reading.measurement), measured(reading.measurement)
    if reading.shape is Shape.NONE:
        step = NextStep("Read the point again.", sentence(reading.basis))
        yield repeat(OPEN, sentence(f"{where}: no value, {reading.basis}"), (reading.id,), step, reading.section)
    elif is_open(case, reading):
        part = "cable or winding" if reading.section is Section.THROUGH_CABLE else "winding"
        step = NextStep(CHECK_CIRCUIT, f"The circuit through the {part} is open.")
        yield Finding(
            OPEN,
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            sentence(f"{where}: open circuit; {fact}"),
            None,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )
    elif reading.shape is Shape.OVER:
        step = NextStep("Measure again on a higher range.", "The value is above the range that was used.")
        yield repeat(OPEN, sentence(f"{where}: above the range used; {fact}"), (reading.id,), step, reading.section)
    elif reading.shape is Shape.UNDER or reading.value == 0:
        step = NextStep(
            "Measure again with a four-wire milliohmmeter.",
            "A low-ohm winding and a shorted one look alike to this meter.",
            "The value in milliohms against the nameplate or a like axis.",
        )
        yield repeat(
            OPEN, sentence(f"{where}: below what this meter resolves; {fact}"), (reading.id,), step, reading.section
        )
    else:
        yield note(OPEN, sentence(f"{where}: the circuit is closed; {fact}"), (reading.id,), reading.section)


def _continuity(case: Case, reading: BoundedReading) -> Finding:
    where, fact = place(reading.measurement), measured(reading.measurement)
    if reading.shape is Shape.NONE:
        step = NextStep("Measure the core again.", sentence(reading.basis))
        return repeat("winding.continuity", sentence(f"{where}: no value"), (reading.id,), step, reading.section)
    if is_open(case, reading):
        step = NextStep("Replace the cable or mend the plug.", "A core is broken.")
        return Finding(
            "winding.continuity",
            Verdict.UNACCEPTABLE,
            Urgency.DO_NOT_ENERGISE,
            sentence(f"{where}: the core is broken; {fact}"),
            None,
            (reading.id,),
            next_step=step,
            section=reading.section,
        )
    return note(
        "winding.continuity", sentence(f"{where}: the core is continuous; {fact}"), (reading.id,), reading.section
    )
