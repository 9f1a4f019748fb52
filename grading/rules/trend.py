"""The axis over its visits: change since the last one, and when a limit will be reached.

Only like is compared with like: same part, same test voltage, one-minute values, the motor alone at 40 °C. A series
starts anew after cleaning or repair, and after a rise by more than two.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from grading.case import Case, build_case, in_ohm, note
from grading.finding import Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.limits import machine_limit, winding_limit
from grading.measurement import Circumstance
from grading.reading import BoundedReading, Shape
from grading.rules.insulation import is_early
from grading.rules.motor import correct
from grading.temperature import NotComparableError
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.terms.terminals import to_earth
from grading.trend import Fit, Point, fit
from grading.words import limit_value, limit_words, number, ohms, sentence

DROP = "trend.drop"
LIMIT = "trend.limit"
DAYS_A_YEAR = Decimal("365.25")
SECONDS_A_DAY = 86400


@dataclass(frozen=True)
class Visited:
    """The comparable value of one part at one visit.

    Attributes:
        at: When.
        ohm: Value (lower bound where `over`), brought to 40 °C for the motor alone.
        over: Over range.
        reading: The reading it comes from.
        fresh: First visit of a new series (cleaned, repaired, replaced).
    """

    at: dt.datetime
    ohm: Decimal
    over: bool
    reading: BoundedReading
    fresh: bool = False


def judge_trend(case: Case) -> Iterator[Finding]:
    """Every part of the axis that was measured now and before."""
    times = [m.at for m in case.measurements if m.at is not None]
    if not case.history or not times:
        return
    now = max(times)
    for section in Section:
        series = [*_past(case, section), *_visit(case, section, now)]
        if not series or series[-1].at != now:
            continue
        series = _since_fresh(case, series)
        yield from _drop(case, section, series)
        yield from _line(case, section, series)


def _past(case: Case, section: Section) -> Iterator[Visited]:
    for visit in case.history:
        then = build_case(visit.measurements, visit.context, case.instruments, case.profile)
        yield from _visit(then, section, visit.at, bool(visit.note))


def _visit(case: Case, section: Section, at: dt.datetime, fresh: bool = False) -> Iterator[Visited]:
    """The lowest one-minute value at the highest test voltage; nothing where none is comparable."""
    replaced = {r.id for r in case.after_cleaning()}
    readings = [
        r
        for r in case.of(QuantityKind.INSULATION_RESISTANCE, section)
        if r.shape in (Shape.POINT, Shape.OVER)
        and r.interval.low > 0
        and r.id not in replaced
        and to_earth(r.measurement.terminals)
        and not is_early(case, r)
        and r.measurement.test_voltage_set is not None
    ]
    if not readings:
        return
    top = max(r.measurement.test_voltage_set or Decimal(0) for r in readings)
    worst = min((r for r in readings if r.measurement.test_voltage_set == top), key=_size)
    fresh = fresh or worst.noted(Circumstance.AFTER_CLEANING)
    over, value = worst.shape is Shape.OVER, _size(worst)
    if section is Section.MOTOR_ALONE and case.context.winding_c is not None:
        try:
            corrected = correct(worst, case.context, case.profile.limits)
        except NotComparableError:
            return
        value = corrected.interval.low if corrected.value is None else corrected.value
    yield Visited(at, value, over, worst, fresh)


def _size(reading: BoundedReading) -> Decimal:
    return reading.interval.low if reading.value is None else reading.value


def _since_fresh(case: Case, series: Sequence[Visited]) -> list[Visited]:
    """The latest stretch measured at one voltage without cleaning, repair or an unexplained rise."""
    rise = case.limit("trend.new_series").value
    volts = series[-1].reading.measurement.test_voltage_set
    kept: list[Visited] = []
    for visited in series:
        if visited.reading.measurement.test_voltage_set != volts:
            continue
        jumped = bool(kept) and not kept[-1].over and visited.ohm > rise * kept[-1].ohm
        if visited.fresh or jumped:
            kept = []
        kept.append(visited)
    return kept


def _drop(case: Case, section: Section, series: Sequence[Visited]) -> Iterator[Finding]:
    if len(series) < 2 or series[-1].over:
        return
    before, now = series[-2], series[-1]
    factor = now.ohm / before.ohm
    ids = (before.reading.id, now.reading.id)
    head = f"Axis {case.context.axis}, {section_in_full(section)}"
    was = f"{'above ' if before.over else ''}{ohms(before.ohm)}"
    facts = (
        f"{ohms(now.ohm)} now, {was} on {before.at.date()}, factor {'below ' if before.over else ''}{number(factor, 2)}"
    )
    for name, verdict, urgency, words, action in _DROPS:
        limit = case.limit(name)
        if factor <= limit.value:
            margin = Margin(factor, None, None, limit.value, "1", ratio=factor / limit.value)
            step = NextStep(
                action,
                "The value has fallen since the visit before.",
                "The same value again under the same temperature, voltage and time.",
            )
            yield Finding(
                DROP,
                verdict,
                urgency,
                sentence(f"{head}: {words}; {facts} ({limit_words(limit)})"),
                limit,
                ids,
                margin,
                step,
                section,
            )
            return
    yield note(DROP, sentence(f"{head}: compared with the visit before, {facts}"), ids, section)


_DROPS: tuple[tuple[str, Verdict, Urgency, str, str], ...] = (
    ("trend.stop", Verdict.UNACCEPTABLE, Urgency.SERVICE_LIMIT, "fallen by a decade or more",
     "Stop and isolate: find the part that has changed."),
    ("trend.act", Verdict.MARGINAL, Urgency.WATCH, "fallen to a third or less",
     "Clean, dry and retest now; plan the repair."),
    ("trend.investigate", Verdict.MARGINAL, Urgency.WATCH, "halved or worse",
     "Investigate: inspect, clean, and retest at the same temperature."),
)  # fmt: skip


def _line(case: Case, section: Section, series: Sequence[Visited]) -> Iterator[Finding]:
    if len(series) < case.limit("trend.fewest_for_slope").value:
        return
    start = series[0].at
    points = [Point(float(_years(start, v.at)), float(v.ohm), v.over) for v in series]
    ids = tuple(v.reading.id for v in series)
    head = f"Axis {case.context.axis}, {section_in_full(section)}"
    try:
        line = fit(points)
    except ValueError:
        yield note(LIMIT, f"{head}: too few values within range for a trend.", ids, section)
        return
    visits = f"{len(points)} visits over {number(Decimal(str(points[-1].years)), 2)} years"
    if any(p.over for p in points):
        visits += ", over-range values counted as bounds"
    if not line.has_trend or line.slope >= 0:
        word = "no trend" if not line.has_trend else "rising"
        yield note(LIMIT, f"{head}: {word} in {visits}.", ids, section)
        return
    limit = (
        winding_limit(case.context, case.profile.limits)
        if section is Section.MOTOR_ALONE
        else machine_limit(case.context, case.profile.limits)
    )
    yield _forecast(
        case,
        f"{head}: falling, times {_figure(line.yearly_factor)} a year in {visits}",
        line,
        points,
        limit,
        ids,
        section,
    )


def _forecast(
    case: Case, text: str, line: Fit, points: Sequence[Point], limit: Limit, ids: tuple[str, ...], section: Section
) -> Finding:
    last = points[-1].years
    horizon = float(case.limit("trend.horizon").value) * (last - points[0].years)
    when = line.reaches(float(in_ohm(limit)))
    band = line.band(float(in_ohm(limit))) if line.points >= case.limit("trend.fewest_for_band").value else None
    early = when if band is None else band[0]
    if when is None or early is None or early - last > horizon:
        text += (
            f"; {limit_value(limit)} is not reached within {_figure(horizon)} years, twice the record, beyond which "
            f"nothing is foretold ({limit_words(limit)})"
        )
        return note(LIMIT, sentence(text), ids, section)
    spread = (
        "no band from so few visits"
        if band is None
        else (f"95 % band {_figure(max(0.0, band[0] - last))} to {_figure(max(0.0, band[1] - last))} years")
    )
    text += (
        f"; this indicates that {limit_value(limit)} is reached in about {_figure(max(0.0, when - last))} years from "
        f"now ({spread}; {limit_words(limit)})"
    )
    plan = _figure(max(0.0, early - last))
    retest = _figure(max(0.0, early - last) / float(case.limit("trend.retest_share").value))
    step = NextStep(
        f"Plan the repair within {plan} years, and retest after {retest} years.",
        "The early end of the band is the planning date.",
    )
    return Finding(LIMIT, Verdict.MARGINAL, Urgency.WATCH, sentence(text), limit, ids, None, step, section)


def _years(start: dt.datetime, end: dt.datetime) -> Decimal:
    return Decimal(str((end - start).total_seconds())) / SECONDS_A_DAY / DAYS_A_YEAR


def _figure(value: float) -> str:
    return number(Decimal(str(value)), 3)
