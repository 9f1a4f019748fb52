"""Leads that no test voltage may reach: feedback, brake, thermal sensor, fan."""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case, judged
from grading.details import Names
from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.steps import ReasonKind, StepKind, step
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import auxiliary


def judge_auxiliary(case: Case) -> Iterator[Finding]:
    """Find the insulation readings whose test point names an auxiliary lead."""
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        found = auxiliary(reading.measurement.terminals)
        if found:
            yield judged(
                "insulation.auxiliary",
                Fact.AUXILIARY_UNDER_VOLTAGE,
                Verdict.MARGINAL,
                Urgency.WATCH,
                reading,
                detail=Names(found),
                next_step=step(StepKind.TAKE_AUXILIARY_OUT, ReasonKind.CAN_DESTROY),
            )
