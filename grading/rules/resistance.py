"""The size of a winding's resistance: over shaft positions, against the nameplate, and with the cable in series."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from statistics import median

from grading.case import Case, in_ohm, note
from grading.finding import Finding, Margin, NextStep, Urgency, Verdict
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import compensated, is_open
from grading.temperature import ZERO_RESISTANCE_C, resistance_at
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.winding import cable_loop_ohm, expected_armature_ohm, joint_residual, survey_armature
from grading.words import limit_words, number, ohms, sentence

NAMEPLATE = "winding.nameplate"
JOINT = "winding.joint"
ARMATURE = "winding.armature"


def judge_armature(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Armature readings of one part over shaft positions; nothing below three readings."""
    values = [compensated(case, r) for r in points]
    if len(values) < case.limit("winding.armature_fewest").value or median(values) <= 0:
        return
    ids = tuple(r.id for r in points)
    where = f"Axis {case.context.axis}, {section_in_full(points[0].section)}"
    limit = case.limit("winding.armature_spread")
    survey = survey_armature(values, limit.value, case.limit("winding.armature_outlier").value)
    detail = (
        f"median {ohms(survey.median)}, smallest {ohms(survey.smallest)}, largest {ohms(survey.largest)} over "
        f"{len(values)} positions, spread {number(survey.spread_percent)} % without outliers; {limit_words(limit)}"
    )
    spots = ", ".join(points[i].measurement.position or str(i + 1) for i in survey.outliers)
    cause = {
        "one high": f"one position reads high ({spots}): dirty or dead bar, riser or open coil",
        "one low": f"one position reads low ({spots}): shorted coil or bridged bars",
        "several": f"several positions are off ({spots}): open coil in a two-path winding, or brushes and commutator",
        "brushes": "the spread is too wide: brushes or commutator",
    }.get(survey.pattern)
    if cause is None:
        few = (
            ""
            if len(values) >= case.limit("winding.armature_positions").value
            else "; eight positions or more are wanted"
        )
        yield Finding(
            ARMATURE,
            Verdict.ACCEPTABLE,
            Urgency.WITHIN_LIMITS,
            sentence(f"{where}: the armature reads evenly; {detail}{few}"),
            limit,
            ids,
            section=points[0].section,
        )
        return
    step = NextStep(
        "Clean commutator and brushes, then repeat over at least eight positions with the shaft at rest.",
        "Brush contact is part of every armature reading.",
        "The same position off again indicates the armature, not the brushes.",
    )
    yield Finding(
        ARMATURE,
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(f"{where}: {cause}; {detail}"),
        limit,
        ids,
        next_step=step,
        section=points[0].section,
    )


def judge_nameplate(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """The motor alone against its nameplate, or a brushed motor against its rating."""
    context = case.context
    motor = [r for r in points if r.section is Section.MOTOR_ALONE and not is_open(case, r)]
    if not motor:
        return
    value = median(compensated(case, r) for r in motor)
    ids = tuple(r.id for r in motor)
    where = f"Axis {context.axis}, motor alone"
    if context.nameplate_resistance_ohm and context.winding_c is not None:
        reference = (
            case.limit("winding.nameplate_temperature").value if context.nameplate_c is None else context.nameplate_c
        )
        assumed = " (assumed)" if context.nameplate_c is None else ""
        brought = resistance_at(value, context.winding_c, reference, ZERO_RESISTANCE_C[context.conductor])
        yield _deviation(case, brought, f"{where}: {ohms(brought)} at {reference:f} °C{assumed}", ids)
    elif context.motor_kind is MotorKind.DC_SERVO and context.rated_voltage and context.rated_current:
        least, most = case.limit("winding.armature_rating_low").value, case.limit("winding.armature_rating_high").value
        low, high = expected_armature_ohm(context.rated_voltage, context.rated_current, least, most)
        factor = case.limit("winding.rating_factor").value
        inside = low / factor <= value <= high * factor
        word = "of the order expected" if inside else "far from the order expected"
        text = f"{where}: {word}, {ohms(value)} against about {ohms(low)} to {ohms(high)} by the rating (house rule)"
        yield note(NAMEPLATE, sentence(text), ids, Section.MOTOR_ALONE)


def _deviation(case: Case, value: Decimal, text: str, ids: tuple[str, ...]) -> Finding:
    plate = case.context.nameplate_resistance_ohm or Decimal(1)
    limit = case.limit("winding.nameplate")
    off = 100 * (value - plate) / plate
    statement = sentence(f"{text}, {number(off, 2)} % off the nameplate's {plate:f} Ω ({limit_words(limit)})")
    margin = Margin(abs(off), None, None, limit.value, "%", ratio=abs(off) / limit.value)
    if abs(off) <= limit.value:
        return Finding(
            NAMEPLATE,
            Verdict.ACCEPTABLE,
            Urgency.WITHIN_LIMITS,
            statement,
            limit,
            ids,
            margin,
            section=Section.MOTOR_ALONE,
        )
    step = NextStep(
        "Check lead compensation and winding temperature, then repeat with a four-wire meter.",
        "Too high indicates joints or brushes, too low shorted turns, and both a wrong temperature.",
    )
    return Finding(NAMEPLATE, Verdict.MARGINAL, Urgency.WATCH, statement, limit, ids, margin, step, Section.MOTOR_ALONE)


def judge_joint(case: Case) -> Iterator[Finding]:
    """What the cabinet's reading holds beyond motor and cable."""
    context = case.context
    if context.cable_length_m is None or not context.core_mm2:
        return
    sections = {}
    for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE):
        points = [
            r
            for r in case.of(QuantityKind.WINDING_RESISTANCE, section)
            if r.shape is Shape.POINT and r.value and not is_open(case, r)
        ]
        if not points:
            return
        sections[section] = points
    cabinet, motor = ([compensated(case, r) for r in sections[s]] for s in sections)
    loop = cable_loop_ohm(context.cable_length_m, context.core_mm2)
    residual = joint_residual(median(cabinet), median(motor), loop)
    limit = case.limit("winding.joint")
    allowed = max(in_ohm(limit), median(motor) * case.limit("winding.joint_share").value / 100)
    ids = tuple(r.id for s in sections for r in sections[s])
    detail = (
        f"calculated {number(residual)} Ω left of the cabinet's {ohms(median(cabinet))} after motor "
        f"{ohms(median(motor))} and cable {number(loop)} Ω ({limit_words(limit)}, or 5 % of the winding)"
    )
    if residual <= allowed:
        yield note(JOINT, sentence(f"Axis {context.axis}: joints and plugs add nothing of note; {detail}"), ids)
        return
    step = NextStep(
        "Inspect plugs, crimps and terminals, and measure each core end to end while flexing the cable.",
        "Something in series with the winding has resistance.",
        "The core or joint that changes when moved.",
    )
    yield Finding(
        JOINT,
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(f"Axis {context.axis}: a bad joint or broken strands in the cable; {detail}"),
        limit,
        ids,
        next_step=step,
        section=Section.CABLE_ALONE,
    )
