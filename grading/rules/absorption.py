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
from grading.case import Case, in_ohm, note
from grading.finding import Basis, Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.measurement import Circumstance, MotorKind
from grading.reading import BoundedReading, Shape
from grading.terms.quantity import QuantityKind
from grading.voltage import step_drop_percent
from grading.words import limit_words, measured, number, place, sentence

PI = "absorption.pi"
DAR = "absorption.dar"
STEPS = "voltage.steps"
_USABLE = (Shape.POINT, Shape.OVER)


def absorption_ratio(later: BoundedReading, earlier: BoundedReading) -> AbsorptionRatio:
    """The ratio of two readings of one test, both with their times."""
    later_s, earlier_s = later.measurement.elapsed_s or Decimal(0), earlier.measurement.elapsed_s or Decimal(0)
    low, high = ratio_of_intervals(later.interval, earlier.interval)
    value = None
    if later.value is not None and earlier.value:
        # One instrument, one range: its gain error cancels in the ratio.
        value = ratio(later.value, earlier.value)
    return AbsorptionRatio(later_s, earlier_s, low, high, value)


def judge_absorption(case: Case) -> Iterator[Finding]:
    """Ratios of values of one point at one voltage; falling values; voltage steps."""
    groups: dict[tuple[object, ...], list[BoundedReading]] = {}
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.shape in _USABLE:
            m = reading.measurement
            groups.setdefault((m.section, m.terminals, m.position, m.test_voltage_set), []).append(reading)
    for group in groups.values():
        yield from _ratios(case, group)
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        if reading.noted(Circumstance.FALLING):
            yield _falling(case, reading)
    yield from _steps(case, groups.values())


def _ratios(case: Case, group: list[BoundedReading]) -> Iterator[Finding]:
    by_time = {r.measurement.elapsed_s: r for r in group if r.measurement.elapsed_s is not None}
    pairs = [(by_time[late], by_time[early]) for late, early in (PI_TIMES, DAR_TIMES) if {late, early} <= set(by_time)]
    if not pairs and len(by_time) >= 2:
        times = sorted(t for t in by_time if t is not None)
        pairs = [(by_time[times[-1]], by_time[times[0]])]
    for later, earlier in pairs:
        found = absorption_ratio(later, earlier)
        if found.name == "PI":
            yield _pi(case, found, later, earlier)
        else:
            yield _dar(case, found, later, earlier)


def _pi(case: Case, found: AbsorptionRatio, later: BoundedReading, earlier: BoundedReading) -> Finding:
    ids, where = (earlier.id, later.id), place(later.measurement)
    if found.undefined:
        return note(PI, f"{where}: polarization index undefined, both values are over range.", ids, later.section)
    text = f"{where}: polarization index {_shown(found)} (600 s/60 s)"
    limit = _pi_limit(case)
    caveat = _pi_caveat(case, found, earlier, limit)
    if caveat or limit is None:
        return note(PI, sentence(text + caveat), ids, later.section)
    step = NextStep(
        "Clean and dry, then repeat the ten-minute test.",
        "Low absorption indicates moisture or dirt.",
        "An index that rises above the limit after drying.",
    )
    return Finding(
        PI,
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(f"{text}, low ({limit_words(limit)})"),
        limit,
        ids,
        _ratio_margin(found, limit),
        step,
        later.section,
    )


def _pi_caveat(case: Case, found: AbsorptionRatio, earlier: BoundedReading, limit: Limit | None) -> str:
    """Why the index judges nothing here; "" where it is below its limit and counts."""
    meaningless = case.limit("absorption.pi_meaningless")
    if earlier.interval.high > in_ohm(meaningless):
        return f", not meaningful above {meaningless.value.normalize():f} MΩ ({meaningless.citation()})"
    if case.context.motor_kind is MotorKind.DC_SERVO:
        return ", not used to judge a brushed armature: leakage over commutator and brush dust swamps it"
    if limit is None:
        return ", thermal class not recorded; 2.0 is asked of class 130 and above, 1.5 of class 105"
    if found.value is None or found.value >= limit.value:
        return f" ({limit_words(limit)})"
    if earlier.interval.low >= in_ohm(case.limit("absorption.sound")):
        return f", below {limit.value.normalize():f}, but no fault by itself at this resistance ({limit.citation()})"
    return ""


def _pi_limit(case: Case) -> Limit | None:
    if case.context.thermal_class is None:
        return None
    try:
        lowest = is_lowest_class(case.context.thermal_class)
    except ValueError:
        return None
    return case.limit("absorption.pi_class_105" if lowest else "absorption.pi")


def _dar(case: Case, found: AbsorptionRatio, later: BoundedReading, earlier: BoundedReading) -> Finding:
    ids, where = (earlier.id, later.id), place(later.measurement)
    limit = case.limit("absorption.dar")
    times = f"{found.later_s:f} s/{found.earlier_s:f} s"
    if found.undefined:
        return note(
            DAR, f"{where}: absorption ratio {times} undefined, both values are over range.", ids, later.section
        )
    if found.value is not None and found.value < limit.value:
        text = (
            f"{where}: the insulation resistance fell while the voltage stayed on, ratio {_shown(found)} ({times}; "
            f"{limit_words(limit)}); this indicates moisture or creeping breakdown"
        )
        step = NextStep(
            "Do not raise the test voltage; clean, dry and retest.",
            "The value falls under voltage.",
            "A value that holds or rises during the minute.",
        )
        return Finding(
            DAR,
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            limit,
            ids,
            _ratio_margin(found, limit),
            step,
            later.section,
        )
    text = f"{where}: absorption ratio {_shown(found)} ({times})"
    if found.name != "DAR":
        text += ", kept for comparison; there is no table for these times"
    elif later.interval.low >= in_ohm(case.limit("absorption.dar_meaningless")):
        text += ", not graded above 1000 MΩ, where little is absorbed (house rule)"
    elif found.value is not None:
        text += f", called {dar_band(found.value)} ({limit.citation()})"
    return note(DAR, sentence(text), ids, later.section)


def _falling(case: Case, reading: BoundedReading) -> Finding:
    text = (
        f"{place(reading.measurement)}: the value fell while the test voltage stayed on; "
        f"{measured(reading.measurement)}; this indicates moisture or creeping breakdown"
    )
    step = NextStep(
        "Do not raise the test voltage; clean, dry and retest.",
        "The value falls under voltage.",
        "A value that holds or rises during the minute.",
    )
    return Finding(
        DAR,
        Verdict.MARGINAL,
        Urgency.WATCH,
        sentence(text),
        case.limit(DAR),
        (reading.id,),
        next_step=step,
        section=reading.section,
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
        return  # nothing can fall from nought
    limit = case.limit("tester.step_drop")
    drop = step_drop_percent(lower.value, higher.value)
    low_v, high_v = lower.measurement.test_voltage_set, higher.measurement.test_voltage_set
    where, ids = place(higher.measurement), (lower.id, higher.id)
    low_shown, high_shown = lower.measurement.quantity.display(), higher.measurement.quantity.display()
    values = f"{low_shown} at {low_v:f} V, {high_shown} at {high_v:f} V"
    if drop > limit.value:
        text = (
            f"{where}: the insulation weakens as the voltage rises, by {number(drop)} %: {values} "
            f"({limit_words(limit)}); this indicates dust, moisture or a crack that conducts above some voltage"
        )
        step = NextStep(
            "Clean and dry, then repeat both steps.",
            "Voltage-dependent leakage often sits on surfaces.",
            "Both steps equal within 25 % after cleaning confirm surface dirt or moisture.",
        )
        margin = Margin(drop, None, None, limit.value, "%")
        yield Finding(
            STEPS,
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            limit,
            ids,
            margin,
            step,
            higher.section,
            "We recommend to clean, dry and retest before the axis goes back to work.",
        )
    elif drop < 0:
        text = f"{where}: the value rose with the voltage, {values}; this indicates drying or absorption, no weakness"
        yield note(STEPS, sentence(text), ids, higher.section)
    else:
        text = f"{where}: steady from step to step, {number(drop)} % lower at the higher voltage: {values}"
        yield note(STEPS, sentence(text), ids, higher.section)


def _shown(found: AbsorptionRatio) -> str:
    if found.value is not None:
        return number(found.value)
    if found.low > 0:
        return f"above {number(found.low)}"
    return f"below {number(found.high)}"


def _ratio_margin(found: AbsorptionRatio, limit: Limit) -> Margin:
    assert limit.basis is Basis.COMPUTED
    ratio_to_limit = None if found.value is None else found.value / limit.value
    high = None if not found.high.is_finite() else found.high
    return Margin(found.value, found.low, high, limit.value, "1", ratio=ratio_to_limit)
