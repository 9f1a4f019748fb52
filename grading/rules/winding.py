"""Winding resistance lead to lead: open, shorted, unequal, off the nameplate, or raised by the cable's joints.

Lead to lead is a series circuit, so the logic is the reverse of insulation: "open" is a fault here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from statistics import median

from grading.case import Case, in_ohm, note, repeat
from grading.finding import Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.measurement import Circumstance, Connection, InstrumentKind, MotorKind, WindingKind
from grading.quantity import QuantityKind, Section, unit
from grading.reading import Reading, Shape
from grading.temperature import ZERO_RESISTANCE_C, resistance_at
from grading.terminals import pair
from grading.winding import (
    InconsistentWindingError,
    cable_loop_ohm,
    delta_phases,
    expected_armature_ohm,
    joint_residual,
    lead_compensated,
    resolution_percent,
    star_phases,
    survey_armature,
    unbalance_percent,
)
from grading.words import SECTION_WORDS, limit_words, measured, number, ohms, place, sentence

OPEN = "winding.open"
UNBALANCE = "winding.unbalance"
NAMEPLATE = "winding.nameplate"
JOINT = "winding.joint"
ARMATURE = "winding.armature"
_OPEN_OHM = Decimal(1000)  # house rule: no servo winding is above this; over range beyond it is open
_TURN_SHORT_OHM = Decimal("0.05")  # house rule: an a.c. winding below this is shorted or wants a four-wire meter


def judge_winding(case: Case) -> Iterator[Finding]:
    """All lead-to-lead readings of the axis."""
    for reading in case.of(QuantityKind.WINDING_RESISTANCE):
        yield from _one(reading)
    for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE):
        points = [r for r in case.of(QuantityKind.WINDING_RESISTANCE, section) if r.shape is Shape.POINT and r.value]
        if case.context.motor_kind is MotorKind.DC_SERVO:
            yield from _armature(case, points)
        else:
            yield from _three_phases(case, points)
        yield from _nameplate(case, points)
    yield from _joint(case)
    for reading in case.of(QuantityKind.CONTINUITY):
        yield _continuity(reading)


def compensated(case: Case, reading: Reading) -> Decimal:
    """The value in ohm less the meter's lead resistance, unless the meter was zeroed or measures with four wires."""
    value = reading.value or Decimal(0)
    instrument = case.instruments.get(reading.measurement.instrument_id or "")
    if instrument is None or instrument.lead_resistance_ohm is None or reading.noted(Circumstance.LEADS_ZEROED):
        return value
    if instrument.kind is InstrumentKind.MILLIOHMMETER:
        return value
    return lead_compensated(value, instrument.lead_resistance_ohm)


def _one(reading: Reading) -> Iterator[Finding]:
    where, fact = place(reading.measurement), measured(reading.measurement)
    if reading.shape is Shape.NONE:
        step = NextStep("Read the point again.", sentence(reading.basis))
        yield repeat(OPEN, sentence(f"{where}: no value, {reading.basis}"), (reading.id,), step, reading.section)
    elif is_open(reading):
        part = "cable or winding" if reading.section is Section.THROUGH_CABLE else "winding"
        step = NextStep(
            "Check plug and terminals, then measure at the motor.", f"The circuit through the {part} is open."
        )
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


def is_open(reading: Reading) -> bool:
    """Whether a lead-to-lead or core reading shows no circuit: over range, or above 100 kΩ."""
    if reading.shape is Shape.OVER:
        unknown_end = reading.interval.low == 0
        return unknown_end or reading.interval.low >= _OPEN_OHM
    return reading.shape is Shape.POINT and reading.interval.low >= 100 * _OPEN_OHM


def _three_phases(case: Case, points: Sequence[Reading]) -> Iterator[Finding]:
    latest: dict[frozenset[str], Reading] = {}
    for reading in points:
        if not is_open(reading):
            latest[pair(reading.measurement.terminals)] = reading
    if len(latest) != 3:
        return
    readings = list(latest.values())
    values = [compensated(case, r) for r in readings]
    if min(values) <= 0:
        return
    ids = tuple(r.id for r in readings)
    section = readings[0].section
    percent = unbalance_percent(values)
    coarse = max(_count_ohm(r) for r in readings)
    shown = ", ".join(f"{r.measurement.terminals} {r.measurement.quantity.display()}" for r in readings)
    where = f"Axis {case.context.axis}, {SECTION_WORDS[section]}"
    look, act = _unbalance_limits(case, section)
    resolvable = resolution_percent(values, coarse)
    detail = f"largest deviation from the mean {number(percent)} %: {shown}; {limit_words(look)}"
    if resolvable > look.value and percent > look.value:
        step = NextStep(
            "Measure again with a four-wire milliohmmeter.",
            f"One count of this meter is {number(resolvable, 2)} % of the winding.",
            "Three values with at least three decimals.",
        )
        yield repeat(
            UNBALANCE,
            sentence(
                f"{where}: phases not comparable with this meter, one count is {number(resolvable, 2)} %; {detail}"
            ),
            ids,
            step,
            section,
            look,
        )
    elif percent > look.value:
        yield _unequal(where, detail, ids, section, (look, act), percent)
    else:
        note_text = "" if resolvable <= look.value / 2 else f"; one count of this meter is {number(resolvable, 2)} %"
        text = sentence(f"{where}: the three phases are alike; {detail}{note_text}{_phases(case, readings, values)}")
        yield Finding(
            UNBALANCE,
            Verdict.ACCEPTABLE,
            Urgency.WITHIN_LIMITS,
            text,
            look,
            ids,
            Margin(percent, None, None, look.value, "%", ratio=percent / look.value),
            section=section,
        )


def _unequal(
    where: str,
    detail: str,
    ids: tuple[str, ...],
    section: Section | None,
    limits: tuple[Limit, Limit],
    percent: Decimal,
) -> Finding:
    look, act = limits
    bad = percent > act.value
    through = section is Section.THROUGH_CABLE
    step = (
        NextStep("Measure the motor alone, and the cable cores end to end while flexing them.",
                 "The odd phase can be a winding, a joint or broken strands.",
                 "Equal phases at the motor put the fault in the cable or its plugs.")
        if through
        else NextStep("Repeat with a four-wire milliohmmeter, then plan the repair of the motor.",
                      "Unequal phases of the motor alone indicate shorted turns or a bad joint inside.",
                      "The same odd phase twice.")
    )  # fmt: skip
    verdict = Verdict.UNACCEPTABLE if bad else Verdict.MARGINAL
    urgency = Urgency.SERVICE_LIMIT if bad else Urgency.WATCH
    margin = Margin(percent, None, None, look.value, "%", ratio=percent / look.value)
    return Finding(
        UNBALANCE,
        verdict,
        urgency,
        sentence(f"{where}: the three phases are unequal; {detail}"),
        act if bad else look,
        ids,
        margin,
        step,
        section,
    )


def _unbalance_limits(case: Case, section: Section | None) -> tuple[Limit, Limit]:
    if section is Section.THROUGH_CABLE:
        return case.limit("winding.unbalance_cable_look"), case.limit("winding.unbalance_cable_act")
    form = case.context.winding is WindingKind.FORM_WOUND
    limit = case.limit("winding.unbalance_form" if form else "winding.unbalance_random")
    return limit, limit


def _phases(case: Case, readings: Sequence[Reading], values: Sequence[Decimal]) -> str:
    """The phases of a motor whose connection is known and whose pairs are U-V, V-W, W-U."""
    order = [frozenset("UV"), frozenset("VW"), frozenset("WU")]
    by_pair = {pair(r.measurement.terminals): v for r, v in zip(readings, values, strict=True)}
    if case.context.connection is Connection.UNKNOWN or not set(order) <= set(by_pair):
        return ""
    convert = star_phases if case.context.connection is Connection.STAR else delta_phases
    try:
        phases = convert(*(by_pair[p] for p in order))
    except InconsistentWindingError as error:
        return f". {error}"
    names = "U, V, W" if case.context.connection is Connection.STAR else "UV, VW, WU"
    return f". Calculated phases {names}: {', '.join(ohms(p) for p in phases)}"


def _armature(case: Case, points: Sequence[Reading]) -> Iterator[Finding]:
    values = [compensated(case, r) for r in points]
    if len(values) < 3 or median(values) <= 0:
        return
    survey = survey_armature(values)
    ids = tuple(r.id for r in points)
    where = f"Axis {case.context.axis}, {SECTION_WORDS[points[0].section]}"
    limit = case.limit("winding.armature_spread")
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
        few = "" if len(values) >= 8 else "; eight positions or more are wanted"
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


def _nameplate(case: Case, points: Sequence[Reading]) -> Iterator[Finding]:
    context = case.context
    motor = [r for r in points if r.section is Section.MOTOR_ALONE and not is_open(r)]
    if not motor:
        return
    value = median(compensated(case, r) for r in motor)
    ids = tuple(r.id for r in motor)
    where = f"Axis {context.axis}, motor alone"
    if context.nameplate_resistance_ohm and context.winding_c is not None:
        reference = Decimal(25) if context.nameplate_c is None else context.nameplate_c
        assumed = " (assumed)" if context.nameplate_c is None else ""
        brought = resistance_at(value, context.winding_c, reference, ZERO_RESISTANCE_C[context.conductor])
        yield _deviation(case, brought, f"{where}: {ohms(brought)} at {reference:f} °C{assumed}", ids)
    elif context.motor_kind is MotorKind.DC_SERVO and context.rated_voltage and context.rated_current:
        low, high = expected_armature_ohm(context.rated_voltage, context.rated_current)
        inside = low / 3 <= value <= high * 3
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


def _joint(case: Case) -> Iterator[Finding]:
    context = case.context
    if context.cable_length_m is None or not context.core_mm2:
        return
    sections = {}
    for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE):
        points = [
            r
            for r in case.of(QuantityKind.WINDING_RESISTANCE, section)
            if r.shape is Shape.POINT and r.value and not is_open(r)
        ]
        if not points:
            return
        sections[section] = points
    cabinet, motor = ([compensated(case, r) for r in sections[s]] for s in sections)
    loop = cable_loop_ohm(context.cable_length_m, context.core_mm2)
    residual = joint_residual(median(cabinet), median(motor), loop)
    limit = case.limit("winding.joint")
    allowed = max(in_ohm(limit), median(motor) * 5 / 100)
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


def _continuity(reading: Reading) -> Finding:
    where, fact = place(reading.measurement), measured(reading.measurement)
    if reading.shape is Shape.NONE:
        step = NextStep("Measure the core again.", sentence(reading.basis))
        return repeat("winding.continuity", sentence(f"{where}: no value"), (reading.id,), step, reading.section)
    if reading.shape is Shape.OVER or reading.interval.low >= _OPEN_OHM:
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


def _count_ohm(reading: Reading) -> Decimal:
    quantity = reading.measurement.quantity
    return (quantity.resolution or Decimal(0)) * unit(quantity.unit or "Ohm").factor
