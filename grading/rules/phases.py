"""Lead-to-lead readings of one part against each other."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import combinations

from grading.case import Case, judged, note, repeat
from grading.details import Names, Phases
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.limit import Limit
from grading.measurement import Connection, WindingKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import by_counts, compensated, count_ohm, is_open
from grading.steps import NextStep, Reason, ReasonKind, Settling, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.record import record
from grading.terms.section import Section
from grading.terms.terminals import ends, pair, point
from grading.winding import (
    InconsistentWindingError,
    OneChanged,
    delta_phases,
    resolution_percent,
    star_phases,
    unbalance_percent,
)

UNBALANCE = "winding.unbalance"
PAIRS = 3
"""Pairs that three leads make, and windings of three phases."""
_FAMILIES = ("UVW", "RST", "ABC")
_NUMBERED = re.compile(r"([A-Z]?)(\d+)")


@record
class _Group:
    """Lead-to-lead readings that ought to be alike, by pair; `missing` names the pairs that were not measured."""

    readings: dict[frozenset[str], list[BoundedReading]]
    missing: tuple[str, ...]


def point_readings(case: Case, section: Section) -> list[BoundedReading]:
    """Give the lead-to-lead point values of a part's power winding, in the order measured."""
    readings = case.of(QuantityKind.WINDING_RESISTANCE, section)
    return [r for r in readings if r.shape is Shape.POINT and r.value and not is_open(case, r)]


def unequal(case: Case, section: Section) -> bool:
    """Tell whether the three phases of a part are found unequal."""
    found = judge_phases(case, point_readings(case, section))
    return any(f.verdict in (Verdict.MARGINAL, Verdict.UNACCEPTABLE) for f in found)


def judge_phases(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Judge the pairs of leads that were measured against each other, and say which were not.

    Pairs that name the same kind of thing are compared: U-V with V-W and W-U, U1-U2 with V1-V2, and readings that name
    no lead with all of them. Every reading counts, also a second one of the same pair: a value that comes and goes is
    no sound winding.
    """
    groups = list(_groups(points))
    opened = _opened(case, points)
    fullest = max((len(group.readings) for group in groups), default=0)
    for group in groups:
        if len(group.readings) > 1:
            yield from _judge_group(case, group)
        missing = tuple(name for name in group.missing if point(name) not in opened)
        if missing and len(group.readings) == fullest:
            readings = [r for own in group.readings.values() for r in own]
            following = step(StepKind.MEASURE_PAIRS, ReasonKind.PAIRS_LEFT)
            place, detail = Place(case.context.axis, readings[0].section), Names(missing)
            yield note(UNBALANCE, Fact.PAIRS_MISSING, *readings, place=place, detail=detail, next_step=following)


def _opened(case: Case, points: Sequence[BoundedReading]) -> set[object]:
    """Give the test points of a part that were measured and show no circuit: they are open, and not missing."""
    section = points[0].section if points else None
    readings = case.of(QuantityKind.WINDING_RESISTANCE, section)
    return {r.point for r in readings if r.section is section and is_open(case, r)}


def _groups(points: Sequence[BoundedReading]) -> Iterator[_Group]:
    """Sort readings into groups of pairs that ought to be alike."""
    named: dict[tuple[str, str], dict[frozenset[str], list[BoundedReading]]] = {}
    loose: dict[frozenset[str], list[BoundedReading]] = {}
    for reading in points:
        key = _kind_of_pair(ends(reading.measurement.terminals))
        if key is None:
            loose[frozenset({reading.id})] = [reading]
        else:
            named.setdefault(key, {}).setdefault(pair(reading.measurement.terminals), []).append(reading)
    # What names no lead is one of the pairs of the terminals; with windings lead by lead it is compared with those.
    lines = [key for key in named if key[1] != "phase"]
    if loose:
        named.setdefault(lines[0] if lines else next(iter(named), ("", "")), {}).update(loose)
    for key, pairs in named.items():
        yield _Group(pairs, () if loose else _missing(key, pairs))


def _kind_of_pair(both: tuple[str, str]) -> tuple[str, str] | None:
    """Give family and kind of a pair: UVW and phase of U1-U2, UVW and 11 of U1-V1; None where no lead is named."""
    if "LEAD" in both or not both[1]:
        return None
    (letter, number), (other, second) = (_split(lead) for lead in both)
    numbered = letter == other == "T" and number  # T1 to T6 are lines and phases by their numbers
    family = "" if numbered else next((f for f in _FAMILIES if letter and other and {letter, other} <= set(f)), "")
    if family:
        kind = "phase" if letter == other else "".join(sorted((number, second)))
        return family, kind
    if letter == other and number and second:
        phases = int(number) % PAIRS == int(second) % PAIRS  # T1-T4, T2-T5, T3-T6 are the phases of six leads
        return letter or "number", "phase" if phases else "".join(str((int(n) - 1) // PAIRS) for n in (number, second))
    return " ".join(sorted(both)), "other"


def _split(lead: str) -> tuple[str, str]:
    if len(lead) == 1 and lead.isalpha():
        return lead, ""
    found = _NUMBERED.fullmatch(lead)
    return (found.group(1), found.group(2)) if found else (lead, "")


def _missing(key: tuple[str, str], pairs: Mapping[frozenset[str], object]) -> tuple[str, ...]:
    """Name the pairs of three phases that were not measured; none where the leads are not known by name."""
    family, kind = key
    if kind == "other" or len(pairs) >= PAIRS:
        return ()
    names = sorted({lead for both in pairs for lead in both})
    if family in _FAMILIES and kind == "phase":
        ends_of = sorted({_split(lead)[1] for lead in names})
        wanted = [frozenset(letter + end for end in ends_of) for letter in family]
    elif kind == "phase":
        return ()
    else:
        end = kind[: len(kind) // 2]
        first = int(end) * PAIRS + 1 if family not in _FAMILIES else 0
        letter = "" if family == "number" else family
        three = [a + end for a in family] if not first else [f"{letter}{first + i}" for i in range(PAIRS)]
        wanted = [frozenset(both) for both in combinations(three, 2)]
    return tuple("-".join(sorted(both)) for both in wanted if both not in pairs)


def _judge_group(case: Case, group: _Group) -> Iterator[Finding]:
    """Judge the unbalance of one group: the largest that its readings give, and the least that they leave possible."""
    lists = list(group.readings.values())
    lost = {both: own for both, own in group.readings.items() if min(compensated(case, r) for r in own) <= 0}
    if lost:
        # Nothing is left of them after the meter's leads: not comparable, and the others are judged without them.
        readings = [own[-1] for own in lost.values()]
        following = step(StepKind.FOUR_WIRE, ReasonKind.LOOK_ALIKE, Settling.MILLIOHMS)
        place = Place(case.context.axis, readings[0].section)
        yield repeat(UNBALANCE, Fact.BELOW_RESOLUTION, following, *readings, place=place)
        left = {both: own for both, own in group.readings.items() if both not in lost}
        if len(left) > 1:
            yield from _judge_group(case, _Group(left, group.missing))
        return
    readings = _furthest(case, lists)
    values = [compensated(case, r) for r in readings]
    section = readings[0].section
    place = Place(case.context.axis, section)
    look, act = _unbalance_limits(case, section)
    percent = unbalance_percent(values)
    least = max(Decimal(0), percent - _uncertain(readings, values))
    count = resolution_percent(values, max(count_ohm(r) for r in readings))
    told = count > look.value * case.limit("winding.count_share").value
    calculated, fits = _phases(case, readings, values)
    detail = Phases(percent, count, told, look, case.context.connection, calculated, fits)
    if percent > look.value >= least and count > look.value:
        reason = Reason(ReasonKind.COUNT_TOO_COARSE, percent=count)
        following = step(StepKind.FOUR_WIRE, reason, Settling.THREE_DECIMALS)
        fact = Fact.PHASES_NOT_COMPARABLE
        yield repeat(UNBALANCE, fact, following, *readings, place=place, detail=detail, limit=look)
        return
    even = percent <= look.value
    bad = least > act.value
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


def _furthest(case: Case, lists: Sequence[Sequence[BoundedReading]]) -> list[BoundedReading]:
    """Pick, of several readings of a pair, those furthest from the other pairs; the last ones where all agree."""
    if all(len(own) == 1 for own in lists):
        return [own[0] for own in lists]
    lowest = [min(own, key=lambda r: compensated(case, r)) for own in lists]
    highest = [max(own, key=lambda r: compensated(case, r)) for own in lists]
    low, high = ([compensated(case, r) for r in pick] for pick in (lowest, highest))
    with_low, with_high = OneChanged(low), OneChanged(high)
    chosen = [own[-1] for own in lists]
    worst = unbalance_percent([compensated(case, r) for r in chosen])
    odd: tuple[int, bool] | None = None
    for index in range(len(lists)):
        both = (with_low.unbalance(index, high[index]), True), (with_high.unbalance(index, low[index]), False)
        for percent, up in both:
            if percent > worst:
                worst, odd = percent, (index, up)
    if odd is None:
        return chosen
    index, up = odd
    usual, other = (lowest, highest) if up else (highest, lowest)
    return [*usual[:index], other[index], *usual[index + 1 :]]


def _uncertain(readings: Sequence[BoundedReading], values: Sequence[Decimal]) -> Decimal:
    """Give by how much the unbalance can be less than computed, percent.

    On one instrument the error in proportion to the reading is the same for all and falls out; what is left are half a
    count of rounding, and the counts of its data sheet. Readings of several instruments keep their whole error. The
    largest deviation from the mean shrinks by 2 (n - 1)/n of that at most: its own value comes down, the others up.
    """
    one_meter = len({r.measurement.instrument_id for r in readings}) == 1
    half = max(by_counts(r) if one_meter else r.half_width or Decimal(0) for r in readings)
    number = len(values)
    return 100 * half * 2 * (number - 1) / number / (sum(values, Decimal(0)) / number)


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
