"""What to do next, as codes with their figures: actions, reasons and what settles the question.

The codes are those of `grading.step_codes`, given on from here; `grading.prose.steps` writes them.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache

from grading.limit import Limit
from grading.step_codes import Advice, ReasonKind, Settling, StepKind
from grading.terms.record import record

__all__ = ["Action", "Advice", "NextStep", "Reason", "ReasonKind", "Settles", "Settling", "StepKind", "step"]


@record
class Action:
    """What to do, with the figures that its kind speaks of.

    Attributes:
        kind: What.
        voltage: Test voltage, V.
        first_voltage: Test voltage of the step before, V.
        seconds: Time under voltage, s.
        earliest: Lower end of a range of time (months) or temperature (°C).
        latest: Upper end of it.
        years: Time to plan for, years.
        retest_years: Time to the retest, years.
        positions: Shaft positions.
    """

    kind: StepKind
    voltage: Decimal | None = None
    first_voltage: Decimal | None = None
    seconds: Decimal | None = None
    earliest: Decimal | None = None
    latest: Decimal | None = None
    years: Decimal | None = None
    retest_years: Decimal | None = None
    positions: Decimal | None = None


@record
class Reason:
    """Why, with the figures that its kind speaks of.

    Attributes:
        kind: Why.
        limit: The limit it speaks of.
        percent: Share or error, percent.
        counts: Error, counts of the last digit.
        unit: UCUM code that was recorded.
        instrument: Name or number of an instrument.
        factor: A ratio.
        winding_c: Winding temperature, °C.
        lowest: Lower end of a range, °C.
        highest: Upper end of it, °C.
        because: The reason behind it.
        hard_to_reach: The motor's plug is hard to reach, so both parts are tested while it is open.
        coolant: Coolant reaches the part.
    """

    kind: ReasonKind
    limit: Limit | None = None
    percent: Decimal | None = None
    counts: Decimal | None = None
    unit: str | None = None
    instrument: str | None = None
    factor: Decimal | None = None
    winding_c: Decimal | None = None
    lowest: Decimal | None = None
    highest: Decimal | None = None
    because: Reason | None = None
    hard_to_reach: bool = False
    coolant: bool = False


@record
class Settles:
    """What would settle the question, with the figures that its kind speaks of.

    Attributes:
        kind: What.
        limit: The limit it speaks of.
        voltage: Test voltage, V.
        seconds: Time under voltage, s.
    """

    kind: Settling
    limit: Limit | None = None
    voltage: Decimal | None = None
    seconds: Decimal | None = None


@record
class NextStep:
    """What to do next, and why.

    Attributes:
        action: What to do.
        reason: Why.
        settles: What change or value would settle the question; None where nothing is at issue.
    """

    action: Action
    reason: Reason
    settles: Settles | None = None


def step(
    kind: StepKind | Action,
    reason: ReasonKind | Reason,
    settles: Settling | Settles | None = None,
) -> NextStep:
    """Make a step; a bare code stands for one that speaks of no figures."""
    if isinstance(kind, StepKind) and isinstance(reason, ReasonKind) and not isinstance(settles, Settles):
        return _bare_step(kind, reason, settles)
    return NextStep(
        Action(kind) if isinstance(kind, StepKind) else kind,
        Reason(reason) if isinstance(reason, ReasonKind) else reason,
        Settles(settles) if isinstance(settles, Settling) else settles,
    )


@cache
def _bare_step(kind: StepKind, reason: ReasonKind, settles: Settling | None) -> NextStep:
    return NextStep(Action(kind), Reason(reason), None if settles is None else Settles(settles))
