"""Whole axes for tests: graded in few words, and asked for facts, steps and text."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.measurement import Measurement, MotorKind
from grading.outcome import AxisVerdict
from grading.prose.findings import finding_text
from grading.steps import StepKind
from grading.verdict import grade_axis
from tests.grading.making import METERS, axis, ll

D = Decimal
BAD, OK, WATCH, UNSURE = Verdict.UNACCEPTABLE, Verdict.ACCEPTABLE, Verdict.MARGINAL, Verdict.INCONCLUSIVE


def graded(*readings: Measurement, motor: MotorKind = MotorKind.AC_SERVO, **context: Any) -> AxisVerdict:
    """Grade readings of axis X; `context` is given to `tests.grading.making.axis`."""
    return grade_axis(list(readings), axis(motor, **context), METERS)


def of(verdict: AxisVerdict, rule: str) -> Finding:
    """Give the one finding of a rule."""
    found = [f for f in verdict.findings if f.rule == rule]
    assert len(found) == 1, [finding_text(f) for f in found]
    return found[0]


def rules(verdict: AxisVerdict) -> set[str]:
    """Give the rules that judge something."""
    return {f.rule for f in verdict.findings if f.urgency is not Urgency.INFORMATION}


def facts(verdict: AxisVerdict) -> set[Fact]:
    """Give every fact that was found."""
    return {f.fact for f in verdict.findings}


def with_fact(verdict: AxisVerdict, fact: Fact) -> Finding:
    """Give the one finding of a fact."""
    (found,) = [f for f in verdict.findings if f.fact is fact]
    return found


def kinds(verdict: AxisVerdict) -> list[StepKind]:
    """Give what is to be done next, in order."""
    return [step.action.kind for step in verdict.next_steps]


def phases(section: Any, *values: str, **fields: Any) -> list[Measurement]:
    """Make the three pairs of a winding."""
    return [ll(section, v, p, **fields) for v, p in zip(values, ("U-V", "V-W", "W-U"), strict=True)]
