"""Leads that no test voltage may reach: feedback, brake, thermal sensor, fan."""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case
from grading.finding import Finding, NextStep, Urgency, Verdict
from grading.terms.quantity import QuantityKind
from grading.terms.terminals import auxiliary
from grading.words import measured, place, sentence


def judge_auxiliary(case: Case) -> Iterator[Finding]:
    """Insulation readings whose test point names an auxiliary lead."""
    for reading in case.of(QuantityKind.INSULATION_RESISTANCE):
        found = auxiliary(reading.measurement.terminals)
        if not found:
            continue
        text = (
            f"{place(reading.measurement)}: an auxiliary lead was under test voltage ({', '.join(found)}); "
            f"{measured(reading.measurement)}"
        )
        step = NextStep(
            "Take feedback, brake and sensor leads out of the test, and check the device on this lead.",
            "A test voltage can destroy what is connected there.",
        )
        yield Finding(
            "insulation.auxiliary",
            Verdict.MARGINAL,
            Urgency.WATCH,
            sentence(text),
            record_ids=(reading.id,),
            next_step=step,
            section=reading.section,
        )
