"""Three lead-to-lead readings of one part against each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from grading.case import Case, judged, repeat
from grading.details import Phases
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.limit import Limit
from grading.measurement import Connection, WindingKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import compensated, count_ohm, is_open
from grading.steps import NextStep, Reason, ReasonKind, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import pair
from grading.winding import (
    InconsistentWindingError,
    delta_phases,
    resolution_percent,
    star_phases,
    unbalance_percent,
)

UNBALANCE = "winding.unbalance"
PAIRS = 3
"""Pairs that three leads make."""


def point_readings(case: Case, section: Section) -> list[BoundedReading]:
    """Give the lead-to-lead point values of a part, in the order measured."""
    readings = case.of(QuantityKind.WINDING_RESISTANCE, section)
    return [r for r in readings if r.shape is Shape.POINT and r.value and not is_open(case, r)]


def unequal(case: Case, section: Section) -> bool:
    """Tell whether the three phases of a part are found unequal."""
    found = judge_phases(case, point_readings(case, section))
    return any(f.verdict in (Verdict.MARGINAL, Verdict.UNACCEPTABLE) for f in found)


def judge_phases(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Judge the unbalance of the last reading of each of three pairs; nothing while fewer are known."""
    latest: dict[frozenset[str], BoundedReading] = {}
    for reading in points:
        latest[pair(reading.measurement.terminals)] = reading
    if len(latest) != PAIRS:
        return
    readings = list(latest.values())
    values = [compensated(case, r) for r in readings]
    if min(values) <= 0:
        return
    section = readings[0].section
    place = Place(case.context.axis, section)
    look, act = _unbalance_limits(case, section)
    percent = unbalance_percent(values)
    count = resolution_percent(values, max(count_ohm(r) for r in readings))
    told = count > look.value * case.limit("winding.count_share").value
    calculated, fits = _phases(case, readings, values)
    detail = Phases(percent, count, told, look, case.context.connection, calculated, fits)
    if count > look.value and percent > look.value:
        reason = Reason(ReasonKind.COUNT_TOO_COARSE, percent=count)
        following = step(StepKind.FOUR_WIRE, reason, Settling.THREE_DECIMALS)
        fact = Fact.PHASES_NOT_COMPARABLE
        yield repeat(UNBALANCE, fact, following, *readings, place=place, detail=detail, limit=look)
        return
    even = percent <= look.value
    bad = percent > act.value
    yield judged(
        UNBALANCE,
        Fact.PHASES_ALIKE if even else Fact.PHASES_UNEQUAL,
        Verdict.ACCEPTABLE if even else Verdict.UNACCEPTABLE if bad else Verdict.MARGINAL,
        Urgency.WITHIN_LIMITS if even else Urgency.SERVICE_LIMIT if bad else Urgency.WATCH,
        *readings,
        place=place,
        detail=detail,
        basis=StatementBasis.CALCULATED if calculated else StatementBasis.MEASURED,
        limit=act if bad else look,
        margin=Margin(percent, None, None, look.value, "%", ratio=percent / look.value),
        next_step=None if even else _find_odd_phase(section),
    )


def _find_odd_phase(section: Section | None) -> NextStep:
    if section is Section.THROUGH_CABLE:
        return step(StepKind.MOTOR_AND_CORES, ReasonKind.ODD_PHASE, Settling.EQUAL_AT_MOTOR)
    return step(StepKind.FOUR_WIRE_THEN_PLAN, ReasonKind.SHORTED_TURNS, Settling.SAME_ODD_PHASE)


def _unbalance_limits(case: Case, section: Section | None) -> tuple[Limit, Limit]:
    if section is Section.THROUGH_CABLE:
        return case.limit("winding.unbalance_cable_look"), case.limit("winding.unbalance_cable_act")
    form = case.context.winding is WindingKind.FORM_WOUND
    limit = case.limit("winding.unbalance_form" if form else "winding.unbalance_random")
    return limit, limit


def _phases(
    case: Case, readings: Sequence[BoundedReading], values: Sequence[Decimal]
) -> tuple[tuple[Decimal, ...], bool]:
    """Give the phases of a motor whose connection is known and whose pairs are U-V, V-W, W-U; whether they fit it."""
    order = [frozenset("UV"), frozenset("VW"), frozenset("WU")]
    by_pair = {pair(r.measurement.terminals): v for r, v in zip(readings, values, strict=True)}
    if case.context.connection is Connection.UNKNOWN or not set(order) <= set(by_pair):
        return (), True
    convert = star_phases if case.context.connection is Connection.STAR else delta_phases
    try:
        return convert(*(by_pair[p] for p in order)), True
    except InconsistentWindingError:
        return (), False
