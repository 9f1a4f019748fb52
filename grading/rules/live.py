"""Voltages and currents on a circuit that must be dead: they stop every pass of the axis, and come first."""

from __future__ import annotations

from collections.abc import Iterator

from grading.case import Case
from grading.details import LiveCircuit
from grading.facts import Fact, MeasuredValue, Place
from grading.finding import Finding, Urgency, Verdict
from grading.live import LiveState, standing
from grading.steps import ReasonKind, StepKind, step
from grading.terms.quantity import QuantityKind

DEAD = "energy.dead"


def judge_live(case: Case) -> Iterator[Finding]:
    """Call out every voltage and current that was found where there must be none."""
    stands = {id(one.measurement) for one in standing(case.measurements, case.live)}
    for one in case.live:
        measurement, unknown = one.measurement, one.state is LiveState.UNKNOWN
        back = id(measurement) not in stands
        fact = Fact.NOT_PROVED_DEAD if unknown else Fact.CIRCUIT_LIVE
        kind = StepKind.PROVE_DEAD if unknown else StepKind.ISOLATE_AND_DISCHARGE
        yield Finding(
            DEAD,
            Verdict.ACCEPTABLE if back else Verdict.INCONCLUSIVE,
            Urgency.INFORMATION if back else Urgency.REPEAT,
            Place.of(measurement),
            fact,
            (MeasuredValue.of(measurement),),
            LiveCircuit(one.state, measurement.kind is QuantityKind.CURRENT, back),
            limit=one.limit,
            record_ids=(measurement.record_id,),
            next_step=None if back else step(kind, ReasonKind.VOLTAGE_ON_CIRCUIT),
        )
