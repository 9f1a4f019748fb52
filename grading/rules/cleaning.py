"""What cleaning, drying or repair changed: the reading before against the retest after."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from grading.case import Case, note
from grading.finding import Finding, NextStep, Urgency, Verdict
from grading.measurement import Circumstance
from grading.reading import BoundedReading, Shape
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section, section_in_full
from grading.words import measured, number, sentence, span

CLEANING = "insulation.cleaning"


def judge_cleaning(case: Case) -> Iterator[Finding]:
    """The worst reading before against the worst after, for each part that was retested."""
    replaced = {r.id for r in case.after_cleaning()}
    for section in Section:
        tests = [r for r in case.of(QuantityKind.INSULATION_RESISTANCE, section) if r.shape is not Shape.NONE]
        before = [r for r in tests if r.id in replaced]
        after = [r for r in tests if r.noted(Circumstance.AFTER_CLEANING)]
        if before and after:
            yield _compare(case, section, min(before, key=_size), min(after, key=_size))


def _size(reading: BoundedReading) -> tuple[Decimal, Decimal]:
    return reading.interval.high, reading.interval.low


def _compare(case: Case, section: Section, before: BoundedReading, after: BoundedReading) -> Finding:
    confirms = case.limit("insulation.cleaning").value
    ids = (before.id, after.id)
    head = f"Axis {case.context.axis}, {section_in_full(section)}"
    facts = f"{measured(before.measurement)} before ({span(before.interval)}), {measured(after.measurement)} after"
    least = after.interval.low / before.interval.high if before.interval.high.is_finite() else Decimal(0)
    if least >= confirms:
        text = f"{head}: at least {number(least, 2)} times better after cleaning or drying; {facts}"
        return note(CLEANING, sentence(f"{text}. This indicates dirt or moisture on the surface"), ids, section)
    if after.interval.high < before.interval.low * confirms:
        text = f"{head}: hardly changed by cleaning or drying; {facts}. This indicates the insulation itself"
        step = NextStep("Plan the repair or replacement of the part.", "Cleaning and drying did not bring it back.")
        low = after.interval.high < before.interval.low
        verdict, urgency = (Verdict.MARGINAL, Urgency.WATCH) if low else (Verdict.ACCEPTABLE, Urgency.INFORMATION)
        return Finding(CLEANING, verdict, urgency, sentence(text), record_ids=ids, next_step=step, section=section)
    return note(CLEANING, sentence(f"{head}: before and after cleaning or drying; {facts}"), ids, section)
