"""How a value moves: with time under voltage (PI, DAR) and from one test voltage to the next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
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
from grading.case import Case, in_ohm, judged, note
from grading.details import Absorption, Ratio
from grading.facts import Fact, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.limit import Basis, Limit
from grading.measurement import Circumstance, MotorKind
from grading.reading import BoundedReading, Shape
from grading.steps import Advice, Reason, ReasonKind, Settles, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
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


def judge_absorption(case: Case) -> Iterator[Finding]:
    """Judge the ratios of values of one point at one voltage; falling values; voltage steps."""
    groups: dict[tuple[object, ...], list[BoundedReading]] = {}
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.shape in _USABLE:
            m = reading.measurement
            groups.setdefault((m.section, m.terminals, m.position, m.test_voltage_set), []).append(reading)
    for group in groups.values():
        yield from _ratios(case, group)
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.noted(Circumstance.FALLING):
            yield _fell(case, Fact.FELL_UNDER_VOLTAGE, reading)
    yield from _steps(case, groups.values())


def _ratios(case: Case, group: list[BoundedReading]) -> Iterator[Finding]:
    by_time = {r.measurement.elapsed_s: r for r in group if r.measurement.elapsed_s is not None}
    pairs = [(by_time[late], by_time[early]) for late, early in (PI_TIMES, DAR_TIMES) if {late, early} <= set(by_time)]
    if not pairs and len(by_time) >= 2:
        times = sorted(t for t in by_time if t is not None)
        pairs = [(by_time[times[-1]], by_time[times[0]])]
    for later, earlier in pairs:
        found = absorption_ratio(later, earlier)
        if found.is_index:
            yield _pi(case, found, later, earlier)
        else:
            yield _dar(case, found, later, earlier)


def _pi(case: Case, found: AbsorptionRatio, later: BoundedReading, earlier: BoundedReading) -> Finding:
    detail, limit = Absorption(found), _pi_limit(case)
    if found.undefined:
        return note(PI, Fact.INDEX_UNDEFINED, earlier, later, detail=detail)
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
    if found.value is not None and found.value < limit.value:
        return _fell(case, Fact.RATIO_FELL, earlier, later, detail=detail, margin=_ratio_margin(found, limit))
    little = case.limit("absorption.dar_meaningless")
    if not found.is_dar:
        reason = Reason(ReasonKind.NO_TABLE)
    elif later.interval.low >= in_ohm(little):
        reason = Reason(ReasonKind.HARDLY_ABSORBED, limit=little)
    else:
        band = None if found.value is None else dar_band(found.value)
        return note(DAR, Fact.RATIO, earlier, later, detail=Absorption(found, band, limit))
    return note(DAR, Fact.RATIO, earlier, later, detail=detail, reason=reason)


def _fell(
    case: Case, fact: Fact, *readings: BoundedReading, detail: Absorption | None = None, margin: Margin | None = None
) -> Finding:
    """Report a value that fell while the test voltage stayed on, by its ratio or as noted."""
    return judged(
        DAR,
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


def _steps(case: Case, groups: Iterable[list[BoundedReading]]) -> Iterator[Finding]:
    """Compare the same point at rising test voltages, each at the same time on test."""
    points: dict[tuple[object, ...], dict[Decimal, BoundedReading]] = {}
    for group in groups:
        for reading in group:
            m = reading.measurement
            if m.test_voltage_set is not None and reading.value is not None:
                key = (m.section, m.terminals, m.position, m.elapsed_s, Circumstance.AFTER_CLEANING in m.circumstances)
                points.setdefault(key, {})[m.test_voltage_set] = reading
    for by_voltage in points.values():
        ordered = [by_voltage[v] for v in sorted(by_voltage)]
        for lower, higher in pairwise(ordered):
            yield from _step(case, lower, higher)


def _step(case: Case, lower: BoundedReading, higher: BoundedReading) -> Iterator[Finding]:
    if not lower.value or higher.value is None:
        return  # nothing can fall from zero
    limit = case.limit("tester.step_drop")
    drop = step_drop_percent(lower.value, higher.value)
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
