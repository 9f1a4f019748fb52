"""The low-voltage ohmmeter to earth, by itself and against the insulation tester.

An ohmmeter drives a few volts. "Over range" on it never passes an insulation test; a real value on it is a fault
seen without any test voltage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from grading.case import Case, in_ohm, judged, note, repeat
from grading.details import Polarity, Ratio
from grading.facts import Fact, StatementBasis
from grading.finding import Finding, Urgency, Verdict
from grading.interval import INFINITY
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.insulation import circuit_of, fails_early, floor_of, same_circuit
from grading.steps import Advice, NextStep, Reason, ReasonKind, Settling, StepKind, step
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind

OHMMETER = "ground.ohmmeter"
COMPARE = "ground.compare"


def judge_ground(case: Case) -> Iterator[Finding]:
    """Judge every ohmmeter reading to earth, then each against the insulation reading of the same circuit."""
    readings = list(case.of(QuantityKind.RESISTANCE_TO_GROUND))
    for reading in readings:
        yield _alone(case, reading)
    for reading in readings:
        ends = case.once(_ends_of_tests).get(circuit_of(reading)) if reading.power else None
        if ends is not None and reading.shape is not Shape.NONE:
            # The lowest test and the highest: what agrees with the one takes no disagreement with the other back.
            yield max((_compare(case, reading, test) for test in ends), key=lambda found: found.verdict.severity)
    yield from _polarity(readings)


_NO_VALUE = (Shape.NONE, Shape.UNEXPLAINED)


def _ends_of_tests(case: Case) -> Mapping[tuple[object, ...], tuple[BoundedReading, BoundedReading]]:
    """Give the lowest and the highest insulation reading of every circuit."""
    found: dict[tuple[object, ...], tuple[BoundedReading, BoundedReading]] = {}
    for test in case.of(QuantityKind.INSULATION_RESISTANCE):
        if test.shape not in _NO_VALUE and (not test.early or fails_early(case, test)):
            circuit = circuit_of(test)
            low, high = found.get(circuit, (test, test))
            found[circuit] = (min(low, test, key=_ends), max(high, test, key=_least))
    return found


def _ends(test: BoundedReading) -> tuple[Decimal, Decimal]:
    return test.interval.high, test.interval.low


def _least(test: BoundedReading) -> Decimal:
    return test.interval.low


def _alone(case: Case, reading: BoundedReading) -> Finding:
    if reading.shape is Shape.NONE:
        following = step(StepKind.READ_AGAIN, reading.basis)
        return repeat(OHMMETER, Fact.NO_VALUE, following, reading, reason=reading.basis)
    if reading.shape is Shape.OVER:
        return note(OHMMETER, Fact.NO_PATH, reading)
    limit = floor_of(case, reading.section)
    if reading.interval.high >= in_ohm(limit):
        following = step(StepKind.LOWEST_VOLTAGE, ReasonKind.PATH_FOUND)
        return judged(OHMMETER, Fact.FINITE_VALUE, Verdict.MARGINAL, Urgency.WATCH, reading, next_step=following)
    short = reading.interval.high < in_ohm(case.limit("ground.dead_short"))
    return judged(
        OHMMETER,
        Fact.DEAD_SHORT if short else Fact.PATH_TO_EARTH,
        Verdict.UNACCEPTABLE,
        Urgency.DO_NOT_ENERGISE,
        reading,
        limit=limit,
        next_step=step(StepKind.CHECK_LEAD, ReasonKind.SHORT_OR_WRONG_LEAD)
        if short
        else step(StepKind.SPLIT_LOW, ReasonKind.PATH_TO_EARTH),
    )


def _compare(case: Case, meter: BoundedReading, test: BoundedReading) -> Finding:
    low = test.shape is Shape.COLLAPSED or test.interval.high < in_ohm(floor_of(case, test.section))
    if meter.shape is Shape.OVER:
        return _voltage_dependent(case, meter, test) if low else note(COMPARE, Fact.METERS_AGREE_AS_FAR, meter, test)
    if low or meter.interval.overlaps(test.interval):
        return note(COMPARE, Fact.METERS_AGREE, meter, test)
    return _disagree(case, meter, test)


def _voltage_dependent(case: Case, meter: BoundedReading, test: BoundedReading) -> Finding:
    brushed = case.context.motor_kind is MotorKind.DC_SERVO
    return judged(
        COMPARE,
        Fact.CONDUCTS_UNDER_VOLTAGE,
        Verdict.UNACCEPTABLE,
        Urgency.DO_NOT_ENERGISE,
        meter,
        test,
        reason=Reason(ReasonKind.BRUSH_DUST if brushed else ReasonKind.DUST_OR_TRACKING),
        basis=StatementBasis.INDICATES,
        limit=floor_of(case, test.section),
        next_step=step(
            StepKind.VACUUM_AND_RETEST if brushed else StepKind.CLEAN_PART,
            ReasonKind.DUST_BRIDGE,
            Settling.SAME_VOLTAGE_AFTER_CLEANING,
        ),
        advice=Advice.CLEAN_BEFORE_REPLACING,
    )


def _disagree(case: Case, meter: BoundedReading, test: BoundedReading) -> Finding:
    limit = case.limit("compare.ohmmeter")
    top, bottom = (test.interval.low, meter.interval.high)
    if test.interval.high != INFINITY and test.interval.high < meter.interval.low:
        top, bottom = (meter.interval.low, test.interval.high)
    factor = top / bottom if bottom else INFINITY
    detail = Ratio(limit.value)
    if factor <= limit.value:
        return note(COMPARE, Fact.METERS_AGREE_WITHIN, meter, test, detail=detail)
    tester_higher = test.interval.low > meter.interval.high
    return repeat(
        COMPARE,
        Fact.METERS_DISAGREE,
        _settle_meters(tester_higher),
        meter,
        test,
        detail=Ratio(factor),
        reason=Reason(ReasonKind.FINGERS_OR_MOISTURE) if tester_higher else None,
        basis=StatementBasis.INDICATES if tester_higher else StatementBasis.MEASURED,
        limit=limit,
    )


def _settle_meters(tester_higher: bool) -> NextStep:
    if tester_higher:
        return step(StepKind.REPEAT_BOTH_REVERSED, ReasonKind.ONE_IS_WRONG, Settling.UNEQUAL_REVERSED)
    return step(StepKind.CLEAN_REPEAT_BOTH, ReasonKind.OPENS_WITH_VOLTAGE, Settling.AGREEMENT)


def _polarity(readings: list[BoundedReading]) -> Iterator[Finding]:
    for turned in readings:
        if not turned.noted(Circumstance.REVERSED) or turned.value is None:
            continue
        for straight in readings:
            same = same_circuit(straight, turned) and not straight.noted(Circumstance.REVERSED)
            if same and straight.value and not straight.interval.overlaps(turned.interval):
                yield judged(
                    COMPARE,
                    Fact.DEPENDS_ON_POLARITY,
                    Verdict.MARGINAL,
                    Urgency.WATCH,
                    straight,
                    turned,
                    detail=Polarity(straight.value, turned.value),
                    reason=Reason(ReasonKind.ELECTROLYTIC),
                    basis=StatementBasis.INDICATES,
                    next_step=step(StepKind.DRY_PART, ReasonKind.WET_PATHS, Settling.EQUAL_BOTH_WAYS),
                )
