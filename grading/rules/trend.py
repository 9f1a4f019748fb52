"""The axis over its visits: change since the last one, and when a limit will be reached.

Only like is compared with like: same part, same test voltage, one-minute values, the motor alone at 40 °C where every
visit has its winding temperature. What stays as measured is compared with what its temperature explains taken off. A
series starts anew after cleaning or repair, and after a rise by more than two.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from grading.case import Case, build_case, in_ohm, judged, note
from grading.details import Change, Course
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.limits import machine_limit, winding_limit
from grading.reading import BoundedReading, Shape
from grading.rules.motor import correct
from grading.steps import Action, ReasonKind, Settling, StepKind, step
from grading.temperature import NotComparableError
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.trend import Fit, Point, fit

DROP = "trend.drop"
LIMIT = "trend.limit"
DAYS_A_YEAR = Decimal("365.25")
SECONDS_A_DAY = 86400


@dataclass(frozen=True)
class Visited:
    """The comparable value of one part at one visit.

    Attributes:
        at: When.
        ohm: Value as measured (lower bound where `over`).
        over: Over range.
        reading: The reading it comes from.
        fresh: First visit of a new series (cleaned, repaired, replaced).
        at_40c: The same value at 40 °C, of a motor alone whose winding temperature was in the range of the correction.
        celsius: Temperature of the part, °C: of the winding, or of the air about a cable; None where not on record.
        winding_c: Temperature of the winding in it, °C; None where not on record.
    """

    at: dt.datetime
    ohm: Decimal
    over: bool
    reading: BoundedReading
    fresh: bool = False
    at_40c: Decimal | None = None
    celsius: Decimal | None = None
    winding_c: Decimal | None = None


def judge_trend(case: Case) -> Iterator[Finding]:
    """Judge every part of the axis that was measured now and before."""
    times = [m.at for m in case.measurements if m.at is not None]
    if not case.history or not times:
        return
    now = max(times)
    for section in Section:
        series = [*_past(case, section), *_visit(case, section, now)]
        if not series or series[-1].at != now:
            continue
        series = _since_fresh(case, _on_one_basis(series))
        yield from _drop(case, section, series)
        yield from _line(case, section, series)


def _past(case: Case, section: Section) -> Iterator[Visited]:
    for visit in case.history:
        then = build_case(visit.measurements, visit.context, case.instruments, case.profile)
        yield from _visit(then, section, visit.at, bool(visit.note))


def _visit(case: Case, section: Section, at: dt.datetime, fresh: bool = False) -> Iterator[Visited]:
    """Give the lowest one-minute value at the highest test voltage; nothing where none is comparable."""
    readings = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, section)
        if r.shape in (Shape.POINT, Shape.OVER)
        and r.interval.low > 0
        and r.doubt is None
        and r.to_earth
        and not r.early
        and r.measurement.test_voltage_set is not None
    ]
    if not readings:
        return
    top = max(r.measurement.test_voltage_set or Decimal(0) for r in readings)
    worst = min((r for r in readings if r.measurement.test_voltage_set == top), key=_size)
    fresh = fresh or worst.noted(Circumstance.AFTER_CLEANING)
    conditions = case.conditions(worst)
    motor = section is Section.MOTOR_ALONE
    celsius = conditions.winding_c if motor or conditions.air_c is None else conditions.air_c
    at_40c = None
    if motor and conditions.winding_c is not None:
        try:
            corrected = correct(case, worst)
        except NotComparableError:
            return
        at_40c = corrected.interval.low if corrected.value is None else corrected.value
    yield Visited(at, _size(worst), worst.shape is Shape.OVER, worst, fresh, at_40c, celsius, conditions.winding_c)


def _on_one_basis(series: Sequence[Visited]) -> list[Visited]:
    """Bring a series to 40 °C where every visit can be; else all of it stays as measured."""
    if any(v.at_40c is None for v in series):
        return list(series)
    return [replace(v, ohm=v.at_40c or v.ohm, celsius=None, winding_c=None) for v in series]


def _explained(case: Case, before: Visited, now: Visited) -> Decimal:
    """Give how many times lower a part may read now because it is warmer: its insulation halves by so many kelvins."""
    if before.celsius is None or now.celsius is None or now.celsius <= before.celsius:
        return Decimal(1)
    return Decimal(2) ** ((now.celsius - before.celsius) / case.limit("trend.cable_halving").value)


def _may_explain(case: Case, section: Section, before: Visited, now: Visited) -> Decimal | None:
    """Give how many times lower a part may read now by the warmest that is in it; None where that is not on record.

    What was brought to 40 °C is explained already. Through the cable the winding is in it too, and warmer than the air.
    """
    if before.celsius is before.winding_c is now.celsius is now.winding_c is None:
        return Decimal(1) if before.at_40c is not None and now.at_40c is not None else None
    pairs = [(before.celsius, now.celsius)]
    if section is not Section.CABLE_ALONE:
        pairs.append((before.winding_c, now.winding_c))
    rises = [None if b is None or n is None else n - b for b, n in pairs]
    known = [max(rise, Decimal(0)) for rise in rises if rise is not None]
    if len(known) < len(rises):
        return None
    return Decimal(2) ** (max(known) / case.limit("trend.cable_halving").value)


def _size(reading: BoundedReading) -> Decimal:
    return reading.interval.low if reading.value is None else reading.value


def _since_fresh(case: Case, series: Sequence[Visited]) -> list[Visited]:
    """Give the latest stretch measured at one voltage without cleaning, repair or an unexplained rise."""
    rise = case.limit("trend.new_series").value
    volts = series[-1].reading.measurement.test_voltage_set
    kept: list[Visited] = []
    for visited in series:
        if visited.reading.measurement.test_voltage_set != volts:
            continue
        before = kept[-1] if kept and not kept[-1].over else None
        jumped = before is not None and visited.ohm > rise * before.ohm * _explained(case, visited, before)
        if visited.fresh or jumped:
            kept = []
        kept.append(visited)
    return kept


def _drop(case: Case, section: Section, series: Sequence[Visited]) -> Iterator[Finding]:
    if len(series) < 2 or series[-1].over:
        return
    before, now = series[-2], series[-1]
    factor = now.ohm / before.ohm
    warmer = _explained(case, before, now)
    most = _may_explain(case, section, before, now)
    place, readings = Place(case.context.axis, section), (before.reading, now.reading)
    detail = Change(now.ohm, before.ohm, before.over, before.at.date(), factor, before.celsius, now.celsius)
    for name, fact, verdict, urgency, action in _DROPS:
        limit = case.limit(name)
        if factor * warmer <= limit.value:
            # Only what no temperature explains condemns a part.
            certain = most is not None and factor * most <= limit.value
            yield judged(
                DROP,
                fact,
                verdict if certain else Verdict.MARGINAL,
                urgency if certain else Urgency.WATCH,
                *readings,
                place=place,
                detail=detail,
                limit=limit,
                margin=Margin(factor, None, None, limit.value, "1", ratio=factor / limit.value),
                next_step=step(action, ReasonKind.FALLEN, Settling.SAME_VALUE_AGAIN),
            )
            return
    warm = warmer > 1 and factor <= case.limit("trend.investigate").value
    yield note(DROP, Fact.TEMPERATURE_EXPLAINS if warm else Fact.COMPARED_BEFORE, *readings, place=place, detail=detail)


_DROPS: tuple[tuple[str, Fact, Verdict, Urgency, StepKind], ...] = (
    ("trend.stop", Fact.FELL_A_DECADE, Verdict.UNACCEPTABLE, Urgency.SERVICE_LIMIT, StepKind.STOP_AND_ISOLATE),
    ("trend.act", Fact.FELL_TO_A_THIRD, Verdict.MARGINAL, Urgency.WATCH, StepKind.CLEAN_NOW),
    ("trend.investigate", Fact.HALVED, Verdict.MARGINAL, Urgency.WATCH, StepKind.INVESTIGATE),
)
"""The falls that count, the worst first."""


def _line(case: Case, section: Section, series: Sequence[Visited]) -> Iterator[Finding]:
    series = [v for v in series if _alike_warm(case, v, series[-1])]
    if len(series) < case.limit("trend.fewest_for_slope").value:
        return
    start = series[0].at
    points = [Point(float(_years(start, v.at)), float(v.ohm), v.over) for v in series]
    readings, place = [v.reading for v in series], Place(case.context.axis, section)
    course = Course(len(points), _decimal(points[-1].years), any(p.over for p in points))
    try:
        line = fit(points)
    except ValueError:
        yield note(LIMIT, Fact.TREND_TOO_SHORT, *readings, place=place, detail=course)
        return
    if not line.has_trend or line.slope >= 0:
        fact = Fact.RISING if line.has_trend else Fact.NO_TREND
        yield note(LIMIT, fact, *readings, place=place, detail=course)
        return
    motor = section is Section.MOTOR_ALONE
    limit = (winding_limit if motor else machine_limit)(case.context, case.profile.limits)
    yield _forecast(case, replace(course, limit=limit), line, points, readings, place)


def _alike_warm(case: Case, one: Visited, last: Visited) -> bool:
    """Tell whether a visit was as warm as the last one, by less than halves the insulation."""
    if one.celsius is None or last.celsius is None:
        return True
    return abs(one.celsius - last.celsius) < case.limit("trend.cable_halving").value


def _forecast(
    case: Case, course: Course, line: Fit, points: Sequence[Point], readings: Sequence[BoundedReading], place: Place
) -> Finding:
    assert course.limit is not None
    last, bar = points[-1].years, float(in_ohm(course.limit))
    factor = case.limit("trend.horizon").value
    horizon = float(factor) * (last - points[0].years)
    when = line.reaches(bar)
    band = line.band(bar) if line.points >= case.limit("trend.fewest_for_band").value else None
    early = when if band is None else band[0]
    falling = replace(
        course, yearly_factor=_decimal(line.yearly_factor), horizon=_decimal(horizon), horizon_factor=factor
    )
    if when is None or early is None or early - last > horizon:
        return note(LIMIT, Fact.NOT_REACHED, *readings, place=place, detail=falling)
    left = max(Decimal(0), _decimal(early - last))
    detail = replace(
        falling,
        reached=max(Decimal(0), _decimal(when - last)),
        band=None if band is None else (left, max(Decimal(0), _decimal(band[1] - last))),
    )
    retest = left / case.limit("trend.retest_share").value
    return judged(
        LIMIT,
        Fact.FORECAST,
        Verdict.MARGINAL,
        Urgency.WATCH,
        *readings,
        place=place,
        detail=detail,
        basis=StatementBasis.INDICATES,
        limit=course.limit,
        next_step=step(Action(StepKind.PLAN_REPAIR, years=left, retest_years=retest), ReasonKind.EARLY_END),
    )


def _years(start: dt.datetime, end: dt.datetime) -> Decimal:
    return Decimal(str((end - start).total_seconds())) / SECONDS_A_DAY / DAYS_A_YEAR


def _decimal(value: float) -> Decimal:
    return Decimal(str(value))
