"""Isolation on the records of an axis: evidence per part, the decision table, consistency, the unmeasured part."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from grading.advice import next_after, series_steps
from grading.case import Case, in_ohm
from grading.details import Consistency, Located, UnmeasuredPart
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Urgency, Verdict
from grading.interval import (
    INFINITY,
    ContradictionError,
    amplification,
    infer_interval,
    parallel_intervals,
)
from grading.isolation import Fault, Location, Part, State, locate, locate_series, merge
from grading.limit import Limit
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import is_open
from grading.rules.insulation import floor_of, is_one_minute
from grading.rules.parts import CORES, KnownPart, gather
from grading.rules.phases import PAIRS
from grading.steps import Advice, NextStep, ReasonKind, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.record import record
from grading.terms.section import Section
from grading.terms.terminals import is_general, point

LOCATE = "isolation.locate"
CONSISTENCY = "isolation.consistency"


@record
class Isolation:
    """Everything that isolation found.

    Attributes:
        fault: Where the fault is.
        findings: What was found on the way.
        steps: What follows, most useful first.
    """

    fault: Fault
    findings: tuple[Finding, ...]
    steps: tuple[NextStep, ...] = ()


def isolate(case: Case) -> Isolation:
    """Locate the fault of an axis from its insulation, ohmmeter, winding and continuity readings."""
    whole, motor, cable = gather(case)
    place = replace(locate(whole.state, motor.state, cable.state), cores_left=cable.cores_left)
    findings = [*_location(case, place, (whole, motor, cable))]
    if place.fault is not Fault.CONTRADICTORY:
        findings += _consistency(case, whole, motor, cable)
        findings += _unmeasured(case, whole, motor, cable)
    series = _series(case)
    fault = merge(place.fault, series)
    if _cores_touch(case):
        fault = merge(fault, Fault.CABLE)
    return Isolation(fault, tuple(findings), _follow_up(case, place, series, (whole, motor, cable)))


def _follow_up(
    case: Case, place: Location, series: Fault, parts: tuple[KnownPart, KnownPart, KnownPart]
) -> tuple[NextStep, ...]:
    """Give what follows: an open circuit first, then insulation where a part is bad or the readings contradict."""
    steps = series_steps(case.context, series)
    # Where no part is bad, what else could be measured stands behind the steps of the other findings.
    urgent = place.fault is Fault.CONTRADICTORY or State.LOW in {part.state for part in parts}
    return (*steps, *(next_after(case.context, place) if urgent else ()))


def _location(case: Case, place: Location, parts: tuple[KnownPart, KnownPart, KnownPart]) -> Iterator[Finding]:
    ids = tuple(i for part in parts for i in part.ids)
    if not ids:
        return
    limit = floor_of(case, Section.THROUGH_CABLE)
    unclear = State.UNCLEAR in {p.state for p in parts}
    steps = () if unclear else next_after(case.context, place)
    following = steps[0] if steps else None
    stated = Finding(
        LOCATE,
        Verdict.ACCEPTABLE,
        Urgency.INFORMATION,
        Place(case.context.axis),
        Fact.LOCATED,
        tuple(p.worst.cited for p in parts if p.worst is not None),
        Located(place, limit),
        basis=StatementBasis.INDICATES,
        record_ids=ids,
        next_step=following,
    )
    if place.fault in _ADVICE:
        yield replace(
            stated,
            verdict=Verdict.UNACCEPTABLE,
            urgency=Urgency.DO_NOT_ENERGISE,
            limit=limit,
            advice=_ADVICE[place.fault],
        )
    elif place.fault is Fault.CONTRADICTORY or State.LOW in {p.state for p in parts}:
        again = following or step(StepKind.MEASURE_PART, ReasonKind.NOT_LOCATED)
        yield replace(stated, verdict=Verdict.INCONCLUSIVE, urgency=Urgency.REPEAT, limit=limit, next_step=again)
    else:
        yield stated


_ADVICE: dict[Fault, Advice] = {
    Fault.CABLE: Advice.REPLACE_CABLE,
    Fault.MOTOR: Advice.CLEAN_OR_REPAIR_MOTOR,
    Fault.BOTH: Advice.CABLE_THEN_MOTOR,
    Fault.CONNECTOR_OR_MOISTURE: Advice.CLEAN_CONNECTOR,
}
"""What is recommended where a part has failed for certain."""


def _consistency(case: Case, whole: KnownPart, motor: KnownPart, cable: KnownPart) -> Iterator[Finding]:
    """Hold the whole against what its parts give together, and against each part by itself."""
    low, high = case.limit("compare.whole_low"), case.limit("compare.whole_high")
    again = step(StepKind.REPEAT_THREE, ReasonKind.SOMETHING_BETWEEN)
    above = _above_a_part(case, high.value)
    if whole.interval is None or motor.interval is None or cable.interval is None:
        if above is not None:
            yield _unsettled(case, Fact.WHOLE_ABOVE_PART, *above, high, again)
        return
    expected = parallel_intervals((motor.interval, cable.interval))
    detail, ids = Consistency(whole.interval, expected), (*whole.ids, *motor.ids, *cable.ids)
    if whole.interval.high < expected.low * low.value and whole.interval.low <= expected.high:
        hidden = infer_interval(whole.interval, expected)
        path = Consistency(whole.interval, expected, hidden)
        sound = in_ohm(case.limit("insulation.contact")) / CORES[case.context.motor_kind]
        if above is None and hidden.high >= sound:  # every contact of a sound plug may conduct as much
            yield replace(_agreeing(case, path, ids), fact=Fact.WHOLE_LOWER)
            return
        following = step(StepKind.RETEST_JOINED_WHILE_FLEXING, ReasonKind.LEAK_TOGETHER, Settling.WHOLE_AS_CALCULATED)
        yield _unsettled(case, Fact.WHOLE_LOWER, path, ids, low, following)
    elif whole.interval.low > expected.high * high.value:
        yield _unsettled(case, Fact.WHOLE_HIGHER, detail, ids, high, again)
    elif above is not None:
        yield _unsettled(case, Fact.WHOLE_ABOVE_PART, *above, high, again)
    else:
        yield _agreeing(case, detail, ids)


def _agreeing(case: Case, detail: Consistency, ids: tuple[str, ...]) -> Finding:
    return Finding(
        CONSISTENCY,
        Verdict.ACCEPTABLE,
        Urgency.INFORMATION,
        Place(case.context.axis),
        Fact.WHOLE_AGREES,
        detail=detail,
        basis=StatementBasis.INDICATES,
        record_ids=ids,
    )


def _unsettled(
    case: Case, fact: Fact, detail: Consistency, ids: tuple[str, ...], limit: Limit, following: NextStep
) -> Finding:
    return Finding(
        CONSISTENCY,
        Verdict.INCONCLUSIVE,
        Urgency.REPEAT,
        Place(case.context.axis),
        fact,
        detail=detail,
        basis=StatementBasis.INDICATES,
        limit=limit,
        record_ids=ids,
        next_step=following,
    )


def _above_a_part(case: Case, factor: Decimal) -> tuple[Consistency, tuple[str, ...]] | None:
    """Find a whole that reads above one of its parts: the pair that contradicts most, or None.

    Insulation falls as the voltage rises and rises with time, so the whole must have been tested at the voltage of the
    part or above, and the part for as long: values of one minute each, or early ones of one and the same time.
    """
    tests = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE)
        if r.to_earth and r.shape in (Shape.POINT, Shape.OVER, Shape.UNDER, Shape.COLLAPSED)
    ]
    wholes = [r for r in tests if r.section is Section.THROUGH_CABLE and r.interval.low > 0]
    parts = [r for r in tests if r.section in (Section.MOTOR_ALONE, Section.CABLE_ALONE)]
    # Of several at one voltage only the highest whole and the lowest part can contradict most.
    highest = _by_time(case, wholes, lambda r: r.interval.low)
    lowest = _by_time(case, parts, lambda r: -r.interval.high)
    pairs = [
        (whole.interval.low / part.interval.high if part.interval.high else INFINITY, whole, part)
        for time, by_volts in highest.items()
        for whole_volts, whole in by_volts.items()
        for part_volts, part in lowest.get(time, {}).items()
        if whole_volts >= part_volts and whole.interval.low > part.interval.high * factor
    ]
    if not pairs:
        return None
    _, whole, part = max(pairs, key=lambda found: found[0])
    return Consistency(whole.interval, part.interval), (whole.id, part.id)


def _by_time(
    case: Case, readings: Iterable[BoundedReading], size: Callable[[BoundedReading], Decimal]
) -> dict[Decimal | None, dict[Decimal, BoundedReading]]:
    """Give the extremes of the values of one minute (under None), and of the early ones by their time, s."""
    found: dict[Decimal | None, list[BoundedReading]] = {}
    for reading in readings:
        if is_one_minute(case, reading):
            found.setdefault(None, []).append(reading)
        elif reading.early and reading.measurement.elapsed_s is not None:
            found.setdefault(reading.measurement.elapsed_s, []).append(reading)
    return {time: _extreme(own, size) for time, own in found.items()}


def _extreme(
    readings: Iterable[BoundedReading], size: Callable[[BoundedReading], Decimal]
) -> dict[Decimal, BoundedReading]:
    """Give the reading of the greatest size at every test voltage; without one recorded, at 0 V."""
    found: dict[Decimal, BoundedReading] = {}
    for reading in readings:
        volts = reading.measurement.test_voltage_set or Decimal(0)
        if volts not in found or size(reading) > size(found[volts]):
            found[volts] = reading
    return found


def _unmeasured(case: Case, whole: KnownPart, motor: KnownPart, cable: KnownPart) -> Iterator[Finding]:
    """Calculate bounds of the part that was not measured; they never carry a pass."""
    known, other = (motor, Part.CABLE) if cable.interval is None else (cable, Part.MOTOR)
    if whole.interval is None or known.interval is None or (motor.interval is not None and cable.interval is not None):
        return
    limit = case.limit("compare.amplification")
    try:
        found = infer_interval(whole.interval, known.interval)
        magnified = INFINITY
        if whole.value is not None and known.value is not None and known.value > whole.value:
            magnified = amplification(whole.value, known.value)
        elif known.interval.high == INFINITY and whole.value is not None:
            magnified = amplification(whole.value, known.interval.low) if known.interval.low > whole.value else INFINITY
    except ContradictionError:
        return
    yield Finding(
        LOCATE,
        Verdict.ACCEPTABLE,
        Urgency.INFORMATION,
        Place(case.context.axis),
        Fact.PART_CALCULATED,
        detail=UnmeasuredPart(other, found, magnified if magnified > limit.value else None, limit),
        basis=StatementBasis.INDICATES,
        record_ids=(*whole.ids, *known.ids),
    )


def _series(case: Case) -> Fault:
    whole, motor = (
        [r for r in case.of(QuantityKind.WINDING_RESISTANCE, section) if r.shape is not Shape.NONE]
        for section in (Section.THROUGH_CABLE, Section.MOTOR_ALONE)
    )
    whole_open = any(is_open(case, r) for r in whole) if whole else None
    motor_open: bool | None = any(is_open(case, r) for r in motor) if motor else None
    if motor_open is False and not _closes(case, whole, motor):
        motor_open = None  # the pair that is open from the cabinet was not measured there
    core = any(is_open(case, r) for r in case.of(QuantityKind.CONTINUITY))
    return locate_series(whole_open, motor_open, core)


def _closes(case: Case, whole: Sequence[BoundedReading], motor: Sequence[BoundedReading]) -> bool:
    """Tell whether every pair that is open from the cabinet was measured at the motor: by name, or all of its pairs."""
    pairs = 1 if case.context.motor_kind is MotorKind.DC_SERVO else PAIRS
    known = {r.point for r in motor}
    if len(motor) >= pairs and any(is_general(r.measurement.terminals) for r in motor):
        return True
    opened = [r.measurement.terminals for r in whole if is_open(case, r)]
    named = not any(is_general(terminals) for terminals in opened)
    return len(known) >= pairs or (named and {point(terminals) for terminals in opened} <= known)


def _cores_touch(case: Case) -> bool:
    """Tell whether a cable alone conducts between its cores (impossible to see with the motor connected)."""
    floor = in_ohm(case.limit("insulation.drive_floor"))
    return any(
        not r.to_earth and (r.shape is Shape.COLLAPSED or r.interval.high < floor)
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, Section.CABLE_ALONE)
    )
