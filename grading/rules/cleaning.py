"""What cleaning, drying or repair changed: the reading before against the retest after."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from grading.case import Case, judged, note, point_of
from grading.details import Cleaned
from grading.facts import Fact, Place, StatementBasis
from grading.finding import Finding, Urgency, Verdict
from grading.reading import BoundedReading, Shape
from grading.steps import Reason, ReasonKind, StepKind, step
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section

CLEANING = "insulation.cleaning"


def judge_cleaning(case: Case) -> Iterator[Finding]:
    """Compare, for each part that was retested, the worst reading before with the worst retest of the same points."""
    tests = [r for r in case.readings if r.kind is QuantityKind.INSULATION_RESISTANCE and r.power]
    for section in Section:
        own = [r for r in tests if r.section is section and r.shape not in (Shape.NONE, Shape.UNEXPLAINED)]
        before = [r for r in own if r.id in case.replaced]
        points = {point_of(r) for r in before}
        after = [r for r in own if r.noted(Circumstance.AFTER_CLEANING) and point_of(r) in points]
        if before and after:
            yield _compare(case, section, min(before, key=_size), min(after, key=_size))


def _size(reading: BoundedReading) -> tuple[Decimal, Decimal]:
    return reading.interval.high, reading.interval.low


def _compare(case: Case, section: Section, before: BoundedReading, after: BoundedReading) -> Finding:
    confirms = case.limit("insulation.cleaning").value
    place = Place(case.context.axis, section)
    least = after.interval.low / before.interval.high if before.interval.high.is_finite() else Decimal(0)
    detail, infers = Cleaned(before.interval, least), StatementBasis.INDICATES
    if least >= confirms:
        reason = Reason(ReasonKind.SURFACE_DIRT)
        return note(
            CLEANING, Fact.CLEANING_HELPED, before, after, place=place, detail=detail, reason=reason, basis=infers
        )
    if after.interval.high < before.interval.low * confirms:
        low = after.interval.high < before.interval.low
        return judged(
            CLEANING,
            Fact.CLEANING_CHANGED_NOTHING,
            Verdict.MARGINAL if low else Verdict.ACCEPTABLE,
            Urgency.WATCH if low else Urgency.INFORMATION,
            before,
            after,
            place=place,
            detail=detail,
            reason=Reason(ReasonKind.INSULATION_ITSELF),
            basis=infers,
            next_step=step(StepKind.PLAN_PART, ReasonKind.CLEANING_DID_NOT),
        )
    return note(CLEANING, Fact.CLEANING_COMPARED, before, after, place=place, detail=detail)
