"""Three lead-to-lead readings of one part against each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from grading.case import Case, repeat
from grading.finding import Finding, Limit, Margin, NextStep, Urgency, Verdict
from grading.measurement import Connection, WindingKind
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import compensated, count_ohm, is_open
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.terms.terminals import pair
from grading.winding import (
    InconsistentWindingError,
    delta_phases,
    resolution_percent,
    star_phases,
    unbalance_percent,
)
from grading.words import limit_words, number, ohms, sentence

UNBALANCE = "winding.unbalance"
PAIRS = 3
"""Pairs that three leads make."""


def point_readings(case: Case, section: Section) -> list[BoundedReading]:
    """Lead-to-lead point values of a part, in the order measured."""
    readings = case.of(QuantityKind.WINDING_RESISTANCE, section)
    return [r for r in readings if r.shape is Shape.POINT and r.value and not is_open(case, r)]


def unequal(case: Case, section: Section) -> bool:
    """Whether the three phases of a part are found unequal."""
    found = judge_phases(case, point_readings(case, section))
    return any(f.verdict in (Verdict.MARGINAL, Verdict.UNACCEPTABLE) for f in found)


def judge_phases(case: Case, points: Sequence[BoundedReading]) -> Iterator[Finding]:
    """Unbalance of the last reading of each of three pairs; nothing while fewer are known."""
    latest: dict[frozenset[str], BoundedReading] = {}
    for reading in points:
        latest[pair(reading.measurement.terminals)] = reading
    if len(latest) != PAIRS:
        return
    readings = list(latest.values())
    values = [compensated(case, r) for r in readings]
    if min(values) <= 0:
        return
    ids, section = tuple(r.id for r in readings), readings[0].section
    percent = unbalance_percent(values)
    coarse = max(count_ohm(r) for r in readings)
    shown = ", ".join(f"{r.measurement.terminals} {r.measurement.quantity.display()}" for r in readings)
    where = f"Axis {case.context.axis}, {section_in_full(section)}"
    look, act = _unbalance_limits(case, section)
    resolvable = resolution_percent(values, coarse)
    calculated = _phases(case, readings, values)
    detail = f"largest deviation from the mean {number(percent)} %: {shown}; {limit_words(look)}{calculated}"
    if resolvable > look.value and percent > look.value:
        step = NextStep(
            "Measure again with a four-wire milliohmmeter.",
            f"One count of this meter is {number(resolvable, 2)} % of the winding.",
            "Three values with at least three decimals.",
        )
        yield repeat(
            UNBALANCE,
            sentence(
                f"{where}: phases not comparable with this meter, one count is {number(resolvable, 2)} %; {detail}"
            ),
            ids,
            step,
            section,
            look,
        )
    elif percent > look.value:
        yield _unequal(where, detail, ids, section, (look, act), percent)
    else:
        fine = resolvable <= look.value * case.limit("winding.count_share").value
        note_text = "" if fine else f"; one count of this meter is {number(resolvable, 2)} %"
        text = sentence(f"{where}: the three phases are alike; {detail}{note_text}")
        yield Finding(
            UNBALANCE,
            Verdict.ACCEPTABLE,
            Urgency.WITHIN_LIMITS,
            text,
            look,
            ids,
            Margin(percent, None, None, look.value, "%", ratio=percent / look.value),
            section=section,
        )


def _unequal(
    where: str,
    detail: str,
    ids: tuple[str, ...],
    section: Section | None,
    limits: tuple[Limit, Limit],
    percent: Decimal,
) -> Finding:
    look, act = limits
    bad = percent > act.value
    through = section is Section.THROUGH_CABLE
    step = (
        NextStep("Measure the motor alone, and the cable cores end to end while flexing them.",
                 "The odd phase can be a winding, a joint or broken strands.",
                 "Equal phases at the motor put the fault in the cable or its plugs.")
        if through
        else NextStep("Repeat with a four-wire milliohmmeter, then plan the repair of the motor.",
                      "Unequal phases of the motor alone indicate shorted turns or a bad joint inside.",
                      "The same odd phase twice.")
    )  # fmt: skip
    verdict = Verdict.UNACCEPTABLE if bad else Verdict.MARGINAL
    urgency = Urgency.SERVICE_LIMIT if bad else Urgency.WATCH
    margin = Margin(percent, None, None, look.value, "%", ratio=percent / look.value)
    return Finding(
        UNBALANCE,
        verdict,
        urgency,
        sentence(f"{where}: the three phases are unequal; {detail}"),
        act if bad else look,
        ids,
        margin,
        step,
        section,
    )


def _unbalance_limits(case: Case, section: Section | None) -> tuple[Limit, Limit]:
    if section is Section.THROUGH_CABLE:
        return case.limit("winding.unbalance_cable_look"), case.limit("winding.unbalance_cable_act")
    form = case.context.winding is WindingKind.FORM_WOUND
    limit = case.limit("winding.unbalance_form" if form else "winding.unbalance_random")
    return limit, limit


def _phases(case: Case, readings: Sequence[BoundedReading], values: Sequence[Decimal]) -> str:
    """The phases of a motor whose connection is known and whose pairs are U-V, V-W, W-U."""
    order = [frozenset("UV"), frozenset("VW"), frozenset("WU")]
    by_pair = {pair(r.measurement.terminals): v for r, v in zip(readings, values, strict=True)}
    if case.context.connection is Connection.UNKNOWN or not set(order) <= set(by_pair):
        return ""
    convert = star_phases if case.context.connection is Connection.STAR else delta_phases
    try:
        phases = convert(*(by_pair[p] for p in order))
    except InconsistentWindingError as error:
        return f". {error}"
    names = "U, V, W" if case.context.connection is Connection.STAR else "UV, VW, WU"
    return f". Calculated phases {names}: {', '.join(ohms(p) for p in phases)}"
