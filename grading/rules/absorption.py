"""How a value moves: with time under voltage (PI, DAR) and from one test voltage to the next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from grading.absorption import (
    DAR_TIMES,
    PI_TIMES,
    AbsorptionRatio,
    dar_band,
    is_lowest_class,
    ratio,
    ratio_of_intervals,
)
from grading.case import Case, in_ohm, judged, note, point_of, repeat
from grading.details import Absorption, Ratio
from grading.facts import Fact, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.interval import INFINITY
from grading.limit import Basis, Limit
from grading.limits import watch_limit
from grading.measurement import MotorKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import by_counts
from grading.steps import Advice, Reason, ReasonKind, Settles, Settling, StepKind, step
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import point
from grading.voltage import step_drop_percent

PI = "absorption.pi"
DAR = "absorption.dar"
STEPS = "voltage.steps"
_USABLE = (Shape.POINT, Shape.OVER)


def absorption_ratio(later: BoundedReading, earlier: BoundedReading) -> AbsorptionRatio:
    """Give the ratio of two readings of one test, both with their times."""
    later_s, earlier_s = later.measurement.elapsed_s or Decimal(0), earlier.measurement.elapsed_s or Decimal(0)
    low, high = ratio_of_intervals(later.interval, earlier.interval)
    value = None
    if later.value is not None and earlier.value:
        # One instrument, one range: its gain error cancels in the ratio.
        value = ratio(later.value, earlier.value)
    return AbsorptionRatio(later_s, earlier_s, low, high, value)


def most_of_ratio(later: BoundedReading, earlier: BoundedReading) -> Decimal:
    """Give the highest ratio that two readings of one test leave possible; Infinity where they set no bound.

    On one instrument the gain error cancels (GUM, F.1.2.3); what is left is the part of the error that does not grow
    with the reading.
    """
    top = later.interval.high if later.value is None else later.value + by_counts(later)
    bottom = earlier.interval.low if earlier.value is None else earlier.value - by_counts(earlier)
    return top / bottom if bottom > 0 else INFINITY


def judge_absorption(case: Case) -> Iterator[Finding]:
    """Judge the ratios of values of one point at one voltage; falling values; voltage steps."""
    tests = [r for r in case.of(QuantityKind.INSULATION_RESISTANCE) if r.shape in _USABLE]
    groups: dict[tuple[object, ...], list[BoundedReading]] = {}
    for reading in tests:
        cleaned = reading.noted(Circumstance.AFTER_CLEANING)
        groups.setdefault((*point_of(reading), reading.measurement.position, cleaned), []).append(reading)
    for group in groups.values():
        yield from _ratios(case, group)
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.noted(Circumstance.FALLING):
            yield _fell(case, DAR, Fact.FELL_UNDER_VOLTAGE, reading)
    yield from _steps(case, tests)


def _ratios(case: Case, group: list[BoundedReading]) -> Iterator[Finding]:
    """Judge the ratios of one test; of several readings at one time, the pair that gives the least."""
    at: dict[Decimal, list[BoundedReading]] = {}
    for reading in group:
        if reading.measurement.elapsed_s is not None:
            at.setdefault(reading.measurement.elapsed_s, []).append(reading)
    if len(at) < 2:
        return
    times = [pair for pair in (PI_TIMES, DAR_TIMES) if pair[0] in at and pair[1] in at]
    if not times:
        times = [(max(at), min(at))]
    for late, early in times:
        later, earlier = min(at[late], key=_size), max(at[early], key=_size)
        found = absorption_ratio(later, earlier)
        if found.is_index:
            yield _pi(case, found, later, earlier)
        else:
            yield _dar(case, found, later, earlier)


def _size(reading: BoundedReading) -> tuple[bool, Decimal]:
    return reading.shape is Shape.OVER, reading.interval.low if reading.value is None else reading.value


def _falls(case: Case, later: BoundedReading, earlier: BoundedReading) -> bool:
    """Tell whether the value fell under voltage beyond what the counts of the meter explain."""
    return most_of_ratio(later, earlier) <= case.limit(DAR).value and later.value != earlier.value


def _pi(case: Case, found: AbsorptionRatio, later: BoundedReading, earlier: BoundedReading) -> Finding:
    detail, limit = Absorption(found), _pi_limit(case)
    if found.undefined:
        return note(PI, Fact.INDEX_UNDEFINED, earlier, later, detail=detail)
    meaningless = case.limit("absorption.pi_meaningless")
    if _falls(case, later, earlier) and earlier.interval.low <= in_ohm(meaningless):
        return _fell(
            case, PI, Fact.INDEX_FELL, earlier, later, detail=detail, margin=_ratio_margin(found, case.limit(DAR))
        )
    caveat = _pi_caveat(case, found, earlier, limit)
    if caveat is not None or limit is None:
        return note(PI, Fact.INDEX, earlier, later, detail=detail, reason=caveat)
    return judged(
        PI,
        Fact.INDEX_LOW,
        Verdict.MARGINAL,
        Urgency.WATCH,
        earlier,
        later,
        detail=detail,
        limit=limit,
        margin=_ratio_margin(found, limit),
        next_step=step(StepKind.REPEAT_TEN_MINUTES, ReasonKind.LOW_ABSORPTION, Settling.INDEX_RISES),
    )


def _pi_caveat(case: Case, found: AbsorptionRatio, earlier: BoundedReading, limit: Limit | None) -> Reason | None:
    """Give the reason for which the index judges nothing here; None where it is below its limit and counts."""
    meaningless = case.limit("absorption.pi_meaningless")
    if earlier.interval.high > in_ohm(meaningless):
        return Reason(ReasonKind.INDEX_MEANINGLESS, limit=meaningless)
    if case.context.motor_kind is MotorKind.DC_SERVO:
        return Reason(ReasonKind.BRUSHED_ARMATURE)
    if limit is None:
        usual, lower = case.limit("absorption.pi"), case.limit("absorption.pi_class_105")
        return Reason(ReasonKind.CLASS_NOT_RECORDED, limit=usual, factor=lower.value)
    if found.value is None or found.value >= limit.value:
        return Reason(ReasonKind.INDEX_MEETS_LIMIT, limit=limit)
    if earlier.interval.low >= in_ohm(case.limit("absorption.sound")):
        return Reason(ReasonKind.SOUND_RESISTANCE, limit=limit)
    return None


def _pi_limit(case: Case) -> Limit | None:
    if case.context.thermal_class is None:
        return None
    try:
        lowest = is_lowest_class(case.context.thermal_class)
    except ValueError:
        return None
    return case.limit("absorption.pi_class_105" if lowest else "absorption.pi")


def _dar(case: Case, found: AbsorptionRatio, later: BoundedReading, earlier: BoundedReading) -> Finding:
    limit, detail = case.limit(DAR), Absorption(found)
    if found.undefined:
        return note(DAR, Fact.RATIO_UNDEFINED, earlier, later, detail=detail)
    little = case.limit("absorption.dar_meaningless")
    if later.interval.high < in_ohm(little) and _falls(case, later, earlier):
        return _fell(case, DAR, Fact.RATIO_FELL, earlier, later, detail=detail, margin=_ratio_margin(found, limit))
    if found.value is not None and found.value < limit.value and later.interval.low < in_ohm(little):
        reason = Reason(ReasonKind.WITHIN_COUNTS)
    elif not found.is_dar:
        reason = Reason(ReasonKind.NO_TABLE)
    elif later.interval.low >= in_ohm(little):
        reason = Reason(ReasonKind.HARDLY_ABSORBED, limit=little)
    else:
        band = None if found.value is None else dar_band(found.value)
        return note(DAR, Fact.RATIO, earlier, later, detail=Absorption(found, band, limit))
    return note(DAR, Fact.RATIO, earlier, later, detail=detail, reason=reason)


def _fell(
    case: Case,
    rule: str,
    fact: Fact,
    *readings: BoundedReading,
    detail: Absorption | None = None,
    margin: Margin | None = None,
) -> Finding:
    """Report a value that fell while the test voltage stayed on, by its ratio or as noted."""
    return judged(
        rule,
        fact,
        Verdict.MARGINAL,
        Urgency.WATCH,
        *readings,
        detail=detail,
        reason=Reason(ReasonKind.CREEPING_BREAKDOWN),
        basis=StatementBasis.INDICATES,
        limit=case.limit(DAR),
        margin=margin,
        next_step=step(StepKind.DO_NOT_RAISE, ReasonKind.FALLS_UNDER_VOLTAGE, Settling.HOLDS_OR_RISES),
    )


def _steps(case: Case, tests: Iterable[BoundedReading]) -> Iterator[Finding]:
    """Compare the same point at rising test voltages; of several readings of a step, those that give the largest fall.

    A value read later can only be higher by absorption, so a step is compared with one read at the same time or later;
    a time that was not recorded is taken as the same.
    """
    points: dict[tuple[object, ...], dict[Decimal, list[BoundedReading]]] = {}
    for reading in tests:
        m = reading.measurement
        if m.test_voltage_set is not None:
            key = (m.section, point(m.terminals), m.position, reading.noted(Circumstance.AFTER_CLEANING))
            points.setdefault(key, {}).setdefault(m.test_voltage_set, []).append(reading)
    for by_voltage in points.values():
        for low, high in pairwise(sorted(by_voltage)):
            pair = _largest_fall(by_voltage[low], by_voltage[high])
            if pair is not None:
                yield from _step(case, *pair)


def _largest_fall(
    lower: Sequence[BoundedReading], higher: Sequence[BoundedReading]
) -> tuple[BoundedReading, BoundedReading] | None:
    """Give the highest reading of the lower step that any of the higher one can be compared with, and its lowest."""
    times = [r.measurement.elapsed_s for r in higher]
    latest = None if None in times else max(time for time in times if time is not None)
    for one in sorted(lower, key=_size, reverse=True):
        begun = one.measurement.elapsed_s
        if latest is None or begun is None or begun <= latest:
            return one, min((other for other in higher if _in_time(one, other)), key=_size)
    return None


def _in_time(lower: BoundedReading, higher: BoundedReading) -> bool:
    one, other = lower.measurement.elapsed_s, higher.measurement.elapsed_s
    return one is None or other is None or one <= other


def _contradicts(case: Case, lower: BoundedReading, higher: BoundedReading) -> bool:
    """Tell whether a low value is followed by one that neither drying nor absorption brings it to.

    Insulation does not gain by voltage; a value below what is watched is superseded by its own repetition only.
    """
    one, other = lower.measurement.elapsed_s, higher.measurement.elapsed_s
    longer = other / one if one and other and other > one else Decimal(1)
    low = lower.interval.high < in_ohm(watch_limit(case.context, case.profile.limits))
    return low and higher.interval.low > lower.interval.high * longer * case.limit("tester.step_rise").value


def _step(case: Case, lower: BoundedReading, higher: BoundedReading) -> Iterator[Finding]:
    least = lower.interval.low if lower.value is None else lower.value
    most = higher.value
    if _contradicts(case, lower, higher):
        reason = Reason(ReasonKind.NOT_STEADY)
        following = step(StepKind.REPEAT_STEPS, reason)
        yield repeat(STEPS, Fact.IN_DOUBT, following, lower, higher, reason=reason)
        return
    if not least or most is None:
        return  # nothing can fall from zero, and a value over range has not fallen
    limit = case.limit("tester.step_drop")
    drop = step_drop_percent(least, most)
    detail, infers = Ratio(drop), StatementBasis.INDICATES
    if drop > limit.value:
        yield judged(
            STEPS,
            Fact.WEAKENS_WITH_VOLTAGE,
            Verdict.MARGINAL,
            Urgency.WATCH,
            lower,
            higher,
            detail=detail,
            reason=Reason(ReasonKind.DUST_OR_CRACK),
            basis=infers,
            limit=limit,
            margin=Margin(drop, None, None, limit.value, "%"),
            next_step=step(
                StepKind.REPEAT_STEPS, ReasonKind.SURFACE_LEAKAGE, Settles(Settling.STEPS_EQUAL, limit=limit)
            ),
            advice=Advice.CLEAN_BEFORE_WORK,
        )
    elif lower.value is None:
        return  # a bound that the next step does not fall below says nothing
    elif drop < 0:
        reason = Reason(ReasonKind.DRYING_OR_ABSORPTION)
        yield note(STEPS, Fact.ROSE_WITH_VOLTAGE, lower, higher, detail=detail, reason=reason, basis=infers)
    else:
        yield note(STEPS, Fact.STEADY_STEPS, lower, higher, detail=detail)


def _ratio_margin(found: AbsorptionRatio, limit: Limit) -> Margin:
    assert limit.basis is Basis.COMPUTED
    ratio_to_limit = None if found.value is None else found.value / limit.value
    high = None if not found.high.is_finite() else found.high
    return Margin(found.value, found.low, high, limit.value, "1", ratio=ratio_to_limit)
