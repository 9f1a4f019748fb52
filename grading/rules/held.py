"""What follows where an insulation reading was held against a limit: passes, fails, collapsed, too close, doubtful."""

from __future__ import annotations

from grading.case import judged, repeat
from grading.details import Detail, TrueValue
from grading.facts import Fact, StatementBasis
from grading.finding import Finding, Margin, Urgency, Verdict
from grading.limit import Limit
from grading.reading import BoundedReading, Shape
from grading.steps import Advice, NextStep, Reason, ReasonKind, Settles, Settling, StepKind, step


def passes(reading: BoundedReading, limit: Limit, rule: str, verdict: Verdict, margin: Margin) -> Finding:
    """Report a value at or above the limit; marginal inside the guard band."""
    if verdict is Verdict.MARGINAL:
        following = step(StepKind.MORE_ACCURATE_OR_EARLY, ReasonKind.MET_BY_LESS)
        return judged(
            rule,
            Fact.IN_GUARD_BAND,
            verdict,
            Urgency.WATCH,
            reading,
            limit=limit,
            margin=margin,
            next_step=following,
        )
    return judged(rule, Fact.WITHIN_LIMITS, verdict, Urgency.WITHIN_LIMITS, reading, limit=limit, margin=margin)


def fails(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Report a value wholly below the limit."""
    following = step(StepKind.KEEP_OFF, Reason(ReasonKind.BELOW_LIMIT, limit=limit))
    return _not_to_be_energised(Fact.BELOW_LIMIT, reading, limit, rule, margin, following)


def collapsed(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Report a tester that could not build its voltage."""
    following = step(StepKind.KEEP_OFF_LOW, ReasonKind.CANNOT_BUILD)
    detail = TrueValue(reading.interval, reading.estimate)
    return _not_to_be_energised(Fact.VOLTAGE_NOT_BUILT, reading, limit, rule, margin, following, detail)


def _not_to_be_energised(
    fact: Fact,
    reading: BoundedReading,
    limit: Limit,
    rule: str,
    margin: Margin,
    following: NextStep,
    detail: Detail | None = None,
) -> Finding:
    """Report a certain failure."""
    return judged(
        rule,
        fact,
        Verdict.UNACCEPTABLE,
        Urgency.DO_NOT_ENERGISE,
        reading,
        detail=detail,
        basis=StatementBasis.MEASURED if detail is None else StatementBasis.INDICATES,
        limit=limit,
        margin=margin,
        next_step=following,
        advice=Advice.NOT_TO_ENERGISE,
    )


def straddles(reading: BoundedReading, limit: Limit, rule: str, margin: Margin) -> Finding:
    """Report a value partly on each side: no verdict, and what would settle it."""
    if reading.doubt is not None:
        following = settle_doubt(reading.doubt)
        return repeat(rule, Fact.IN_DOUBT, following, reading, reason=reading.doubt, limit=limit, margin=margin)
    detail = TrueValue(reading.interval)
    if reading.shape is Shape.POINT:
        following = step(
            StepKind.BETTER_ACCURACY,
            Reason(ReasonKind.ERROR_REACHES, because=reading.basis),
            Settles(Settling.WHOLE_SPAN, limit=limit),
        )
        return repeat(rule, Fact.TOO_CLOSE, following, reading, detail=detail, limit=limit, margin=margin)
    following = step(
        StepKind.RANGE_THAT_SHOWS,
        ReasonKind.NEAR_SIDE,
        Settles(Settling.ANY_VALUE, limit=limit),
    )
    return repeat(
        rule,
        Fact.BOUND_CANNOT_TELL,
        following,
        reading,
        detail=detail,
        reason=reading.basis,
        limit=limit,
        margin=margin,
    )


_SETTLES: dict[ReasonKind, StepKind] = {
    ReasonKind.VOLTAGE_ON_CIRCUIT: StepKind.ISOLATE_AND_DISCHARGE,
    ReasonKind.ONE_PHASE_ONLY: StepKind.TEST_PHASES_JOINED,
}
"""What settles a doubt; any other one is settled by a steady reading with a good battery."""


def settle_doubt(doubt: Reason) -> NextStep:
    """Give the step that removes a doubt about a value."""
    return step(_SETTLES.get(doubt.kind, StepKind.REPEAT_STEADY), doubt)
