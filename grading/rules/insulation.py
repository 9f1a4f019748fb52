"""Insulation resistance to earth against every limit that applies to the part measured.

Each limit is held separately and all are listed; the worst gives the headline. IEC 60204-1 judges the value as
measured; IEEE 43 judges the motor alone, one minute, corrected to 40 °C.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.case import Case, hold_at_least, in_ohm, judged, note, repeat
from grading.details import ByLength, Ohms, VoltageWanted
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.interval import ZERO, Side, per_kilometre
from grading.limit import Limit
from grading.limits import watch_limit, winding_limit
from grading.reading import BoundedReading, Shape
from grading.rules.held import collapsed, fails, passes, straddles
from grading.steps import Action, NextStep, Reason, ReasonKind, Settles, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import two_of_six

WATCH = "insulation.watch"
MACHINE = "insulation.machine"
TIME = "insulation.time"
VALUE = "insulation.value"


def judge_insulation(case: Case) -> Iterator[Finding]:
    """Hold every insulation reading of the power circuit to earth against the limits on values as measured."""
    for reading in case.readings:
        if reading.kind is not QuantityKind.INSULATION_RESISTANCE or not reading.power:
            continue
        if reading.id in case.replaced:
            yield note(MACHINE, Fact.BEFORE_CLEANING, reading)
        elif not reading.to_earth and reading.section is not Section.CABLE_ALONE and not _parted(case, reading):
            yield _between_leads(reading)
        elif reading.shape in (Shape.NONE, Shape.UNEXPLAINED):
            yield _no_value(reading)
        elif reading.shape is not Shape.COLLAPSED and reading.early:
            yield from _early(case, reading)
        else:
            yield from _against_limits(case, reading)


def judge_complete(case: Case) -> Iterator[Finding]:
    """Call for an insulation test where there is none: such an axis is never called acceptable."""
    tests = case.of(QuantityKind.INSULATION_RESISTANCE)
    if case.readings and not any(r.to_earth or not two_of_six(r.measurement.terminals) for r in tests):
        choice, seconds = case.voltages, case.limit(TIME).value
        first = Action(StepKind.TEST_TO_EARTH, voltage=choice.judging, first_voltage=choice.screening, seconds=seconds)
        following = step(first, ReasonKind.FEW_VOLTS)
        place = Place(case.context.axis)
        yield repeat(VALUE, Fact.NO_INSULATION_TEST, following, *case.readings, place=place)


def is_one_minute(case: Case, reading: BoundedReading) -> bool:
    """Tell whether a value can be set against others of one minute: neither early nor a later one of the same test."""
    elapsed = reading.measurement.elapsed_s
    late = elapsed is not None and elapsed > case.limit("insulation.time_later").value
    return reading.shape is Shape.COLLAPSED or not (late or reading.early)


def wanted_voltage(case: Case) -> Decimal:
    """Give the test voltage that the limits as measured presuppose, V."""
    return case.voltages.judging


def is_full_voltage(case: Case, reading: BoundedReading) -> bool:
    """Tell whether the voltage on the terminals was at least 90 % of what the limit presupposes."""
    return reading.voltage is not None and reading.voltage >= case.full_voltage


def same_circuit(one: BoundedReading, other: BoundedReading) -> bool:
    """Tell whether two readings to earth lie on the same copper: a winding joins all leads, a cable alone does not."""
    if one.section is not other.section or not (one.power and other.power):
        return False
    return one.section is not Section.CABLE_ALONE or same_point(one, other)


def same_point(one: BoundedReading, other: BoundedReading) -> bool:
    """Tell whether two readings are of one point of one part, under whatever names."""
    return one.section is other.section and one.point == other.point


@dataclass
class _Minute:
    """One-minute values of one circuit: the highest test voltage selected, V, and whether any was built in full."""

    volts: Decimal = Decimal(-1)
    full: bool = False


def circuit_of(reading: BoundedReading) -> tuple[object, ...]:
    """Give what `same_circuit` compares of readings of the power circuit."""
    return reading.section, reading.point if reading.section is Section.CABLE_ALONE else None


def _minutes(case: Case) -> Mapping[tuple[object, ...], _Minute]:
    """Collect the one-minute values of every circuit, so that no reading has to look through all the others."""
    found: dict[tuple[object, ...], _Minute] = {}
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.shape is not Shape.NONE and not reading.early:
            minute = found.setdefault(circuit_of(reading), _Minute())
            minute.volts = max(minute.volts, reading.measurement.test_voltage_set or ZERO)
            minute.full = minute.full or is_full_voltage(case, reading)
    return found


def _minute_of(case: Case, reading: BoundedReading) -> _Minute:
    return case.once(_minutes).get(circuit_of(reading), _Minute()) if reading.power else _Minute()


def _cleared(case: Case) -> Mapping[tuple[object, ...], Decimal]:
    """Give the highest test voltage at which a one-minute value of a point cleared its floor, by part and point."""
    found: dict[tuple[object, ...], Decimal] = {}
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if not reading.early and reading.interval.low >= floor_of(case, reading.section).base_value:
            where = (reading.section, reading.point)
            volts = reading.measurement.test_voltage_set or ZERO
            if volts >= found.get(where, volts):
                found[where] = volts
    return found


def floor_of(case: Case, section: Section | None) -> Limit:
    """Give the floor that holds for a part as measured."""
    return case.floors[section]


def _against_limits(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    earth = reading.to_earth
    machine = floor_of(case, reading.section) if earth else case.limit("insulation.drive_floor")
    yield _as_measured(case, reading, machine, MACHINE)
    for extra in case.profile.extra:
        if extra.applies(reading.section, case.context.motor_kind, reading.component):
            own = extra.of_length(case.context.cable_length_m)
            unknown = note("insulation.shop", Fact.LENGTH_NOT_KNOWN, reading)
            yield unknown if own is None else _as_measured(case, reading, own, "insulation.shop")
    if reading.section is Section.CABLE_ALONE:
        yield from _by_length(case, reading)
        yield from _cable_guidance(case, reading)
    if reading.section is not Section.MOTOR_ALONE:
        yield from _watch(case, reading)


def _as_measured(case: Case, reading: BoundedReading, limit: Limit, rule: str) -> Finding:
    verdict, margin = hold_at_least(reading.interval, reading.value, reading.standard_uncertainty, limit)
    if reading.shape is Shape.COLLAPSED:
        # A collapse proves R below 1000 Ω/V; at 1000 V that bound is the limit itself and still a fail.
        return collapsed(reading, limit, rule, margin)
    if verdict is Verdict.UNACCEPTABLE:
        return fails(reading, limit, rule, margin)
    if verdict is Verdict.INCONCLUSIVE:
        return straddles(reading, limit, rule, margin)
    if not is_full_voltage(case, reading):
        return _low_voltage(case, reading, limit, rule, margin)
    return passes(reading, limit, rule, verdict, margin)


def _low_voltage(case: Case, reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    wanted = wanted_voltage(case)
    detail = VoltageWanted(wanted, reading.voltage)
    if _minute_of(case, reading).full:
        return note(rule, Fact.SCREENING_STEP, reading, detail=detail)
    following = step(
        Action(StepKind.TEST_AGAIN_AT, voltage=wanted, seconds=case.limit(TIME).value),
        ReasonKind.HIGHER_VOLTAGE,
        Settles(Settling.STEADY_VALUE, limit=limit, voltage=wanted),
    )
    return repeat(rule, Fact.VOLTAGE_TOO_LOW, following, reading, detail=detail, limit=limit, margin=margin)


def _parted(case: Case, reading: BoundedReading) -> bool:
    """Tell whether a reading between two phases of six leads shows that no link and no winding joins them."""
    apart = two_of_six(reading.measurement.terminals)
    return apart and reading.interval.low >= in_ohm(case.limit("insulation.drive_floor"))


def _between_leads(reading: BoundedReading) -> Finding:
    if two_of_six(reading.measurement.terminals):
        following = step(StepKind.TAKE_LINKS_OUT, ReasonKind.LINKS_OR_FAULT)
        return repeat(VALUE, Fact.PHASES_CONDUCT, following, reading)
    following = step(StepKind.TEST_JOINED_LEADS, ReasonKind.LEADS_JOINED)
    return repeat(VALUE, Fact.LEADS_JOINED, following, reading)


def _no_value(reading: BoundedReading) -> Finding:
    following = step(StepKind.READ_WITH_CONDITIONS, reading.basis)
    return repeat(VALUE, Fact.NO_VALUE, following, reading, reason=reading.basis)


def _early(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    if fails_early(case, reading):
        yield _as_measured(case, reading, floor_of(case, reading.section), MACHINE)
        return
    if _far_below(case, reading):
        reason = Reason(ReasonKind.NOT_STEADY)  # no absorption brings it from there to what was read later
        yield repeat(TIME, Fact.IN_DOUBT, step(StepKind.REPEAT_STEADY, reason), reading, reason=reason)
        return
    if _minute_of(case, reading).volts >= (reading.measurement.test_voltage_set or 0):
        yield note(TIME, Fact.EARLIER_VALUE, reading)
        return
    limit = case.limit(TIME)
    unknown, following = reading.measurement.elapsed_s is None, case.once(_hold_voltage)
    reason = Reason(ReasonKind.TIME_NOT_RECORDED if unknown else ReasonKind.TIME_TOO_SHORT, limit=limit)
    yield repeat(TIME, Fact.NOT_ONE_MINUTE, following, reading, reason=reason, limit=limit)


def _hold_voltage(case: Case) -> NextStep:
    seconds = case.limit(TIME).value
    return step(
        Action(StepKind.HOLD_VOLTAGE, seconds=seconds),
        ReasonKind.ONE_MINUTE_VALUE,
        Settles(Settling.VALUE_AT_TIME, seconds=seconds),
    )


def fails_early(case: Case, reading: BoundedReading) -> bool:
    """Tell whether an early value lies so far below the floor that no minute under voltage brings it there.

    The one-minute value of the same point, where it clears the floor, says that it did.
    """
    return _far_below(case, reading) and not outlasted(case, reading)


def _far_below(case: Case, reading: BoundedReading) -> bool:
    factor = case.limit("insulation.early_factor").value
    return reading.interval.high * factor < in_ohm(floor_of(case, reading.section))


def outlasted(case: Case, reading: BoundedReading) -> bool:
    """Tell whether an early value was followed by a one-minute value of the same point that clears the floor."""
    where = (reading.section, reading.point)
    cleared = case.once(_cleared).get(where)
    return cleared is not None and cleared >= (reading.measurement.test_voltage_set or 0)


def retest_later(case: Case) -> NextStep:
    """Say when a value that is watched is taken again."""
    early, late = case.limit("insulation.retest_early").value, case.limit("insulation.retest_late").value
    return step(Action(StepKind.RETEST_LATER, earliest=early, latest=late), ReasonKind.TREND_SHOWS)


def _watch(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    """Watch what is sound by the machine's limit, yet low for its kind (program's rule)."""
    limit = watch_limit(case.context, case.profile.limits)
    if reading.shape is not Shape.POINT or reading.interval.side_of(in_ohm(limit)) is not Side.BELOW:
        return
    machine = floor_of(case, reading.section)
    passes, _ = hold_at_least(reading.interval, reading.value, reading.standard_uncertainty, machine)
    verdict, margin = hold_at_least(reading.interval, reading.value, None, limit)
    sound = passes in (Verdict.ACCEPTABLE, Verdict.MARGINAL) and is_full_voltage(case, reading)
    if not sound or verdict is not Verdict.UNACCEPTABLE or reading.shape is not Shape.POINT:
        return
    floor = in_ohm(winding_limit(case.context, case.profile.limits))
    apart = case.of(QuantityKind.INSULATION_RESISTANCE, Section.MOTOR_ALONE)
    following, may_be = case.once(retest_later), None
    if reading.section is Section.THROUGH_CABLE and reading.interval.low < floor and not apart:
        may_be = reading.interval.low
        following = step(StepKind.MEASURE_MOTOR_WITH_TEMPERATURE, ReasonKind.MOTOR_OWN_LIMIT)
    elif reading.section is Section.CABLE_ALONE:
        following = step(StepKind.PLAN_CABLE, ReasonKind.CABLE_WEARS)
    yield judged(
        WATCH,
        Fact.LOW_FOR_KIND,
        Verdict.MARGINAL,
        Urgency.WATCH,
        reading,
        detail=Ohms(may_be),
        basis=StatementBasis.MEASURED if may_be is None else StatementBasis.INDICATES,
        limit=limit,
        margin=margin,
        next_step=following,
    )


def _by_length(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    """Give a cable's insulation times its length, and brought to one temperature, so that cables can be compared.

    How a cable's insulation falls with its temperature is its maker's to say; what is said without that is practice,
    and judges nothing. The cable is taken to be as warm as the air.
    """
    length = case.context.cable_length_m
    if length is None or length <= 0 or reading.shape not in (Shape.POINT, Shape.OVER):
        return
    value = None if reading.value is None else per_kilometre(reading.value, length)
    least = per_kilometre(reading.interval.low, length)
    air_c = case.conditions(reading).air_c
    reference, halving = case.limit("insulation.cable_reference"), case.limit("trend.cable_halving")
    detail = ByLength(least, value, length)
    if air_c is not None:
        factor = Decimal(2) ** ((air_c - reference.value) / halving.value)
        detail = ByLength(least, value, length, air_c, factor, reference, halving)
    yield note("insulation.cable", Fact.CABLE_BY_LENGTH, reading, detail=detail, basis=StatementBasis.CALCULATED)


def _cable_guidance(case: Case, reading: BoundedReading) -> Iterator[Finding]:
    if reading.voltage is None or reading.shape is Shape.COLLAPSED or not reading.to_earth:
        return
    rated = case.context.rated_voltage
    built = case.limit("tester.built").value
    small = rated is not None and rated <= case.limit("insulation.cable_rated").value
    if reading.voltage >= built * case.limit("insulation.cable_test_high").value:
        limit = case.limit("insulation.cable_600")
    elif small and reading.voltage >= built * case.limit("insulation.cable_test").value:
        limit = case.limit("insulation.cable_250")
    else:
        return
    verdict, margin = hold_at_least(reading.interval, reading.value, None, limit)
    if verdict is Verdict.UNACCEPTABLE:
        yield judged(
            "insulation.cable",
            Fact.BELOW_CABLE_GUIDANCE,
            Verdict.MARGINAL,
            Urgency.WATCH,
            reading,
            limit=limit,
            margin=margin,
            next_step=step(StepKind.INSPECT_CABLE, ReasonKind.NEW_CABLES_HIGHER),
        )
