"""How many tests it takes to reach the right blame: following grading's plan, against testing everything."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from statistics import mean, median

from grading.isolation import Fault as Told
from grading.measurement import Measurement
from grading.plan import Task, plan_axis
from grading.terms.quantity import Quantity
from grading.verdict import grade_axis
from tests.grading.simulation.bench import IR, Bench, Point
from tests.grading.simulation.circuit import LEAKS, Flaw
from tests.grading.simulation.visit import SimulatedVisit, draw_visit

MOST_TESTS = 80
_RIGHT = {"motor": Told.MOTOR, "cable": Told.CABLE, "joint": Told.CONNECTOR_OR_MOISTURE, "both": Told.BOTH}


@dataclass(frozen=True)
class Effort:
    """What it took on one faulty axis.

    Attributes:
        part: The part at fault.
        planned: Readings taken until the plan ended.
        told: Whether the right part was told then.
        everything: Readings of every point of the plan's table.
        told_everything: Whether the right part was told after all of them.
    """

    part: str
    planned: int
    told: bool
    everything: int
    told_everything: bool


def efforts(first_seed: int, count: int) -> list[Effort]:
    """Measure some axes with one hard fault of the power circuit (a leak below 0.3 MΩ, or an open circuit)."""
    found: list[Effort] = []
    seed = first_seed
    while len(found) < count:
        visit = draw_visit(seed)
        seed += 1
        if len(visit.begun.faults) == 1 and _hard(visit) and not visit.context.slip_rings:
            found.append(_effort(visit))
    return found


def _hard(visit: SimulatedVisit) -> bool:
    fault = visit.begun.faults[0]
    leak = fault.flaw in LEAKS and fault.flaw is not Flaw.CORES_TOUCH and fault.ohm < 3e5
    return leak or fault.flaw in (Flaw.OPEN_CORE, Flaw.OPEN_PHASE)


def _effort(visit: SimulatedVisit) -> Effort:
    visit.bench.circuit = visit.begun
    part = {"motor": "motor", "cable": "cable", "plug": "joint"}[_part(visit)]
    rows: list[Measurement] = []
    while len(rows) < MOST_TESTS:
        state = plan_axis(rows, visit.context, visit.instruments)
        if state.next is None:
            break
        rows += _measured(visit.bench, state.next, len(rows))
    planned, told = len(rows), _told(visit, rows) is _RIGHT[part]
    everything: list[Measurement] = []
    for task in plan_axis([], visit.context, visit.instruments).tasks:
        everything += _measured(visit.bench, task, len(everything))
    return Effort(part, planned, told, len(everything), _told(visit, everything) is _RIGHT[part])


def _part(visit: SimulatedVisit) -> str:
    flaw = visit.begun.faults[0].flaw
    if flaw is Flaw.MOISTURE:
        return "plug"
    return "cable" if flaw in (Flaw.CABLE_CORE, Flaw.CABLE_DUST, Flaw.OPEN_CORE) else "motor"


def _told(visit: SimulatedVisit, rows: Sequence[Measurement]) -> Told:
    return grade_axis(rows, visit.context, visit.instruments).fault


def _measured(bench: Bench, task: Task, already: int) -> Iterator[Measurement]:
    planned = task.point
    first, _, second = planned.terminals.partition("-")
    point = Point(planned.section, planned.kind, tuple(first.split("+")), tuple(second.split("+")))
    for turn in range(planned.positions):
        if planned.kind is IR:
            volts = int(task.test_voltage or 500)
            shown, meter = bench.insulation(point, volts, 60), bench.tester.id
        else:
            volts, shown, meter = 0, bench.ohms(point), bench.ohmmeter(point).id
        yield Measurement(
            f"p{already + turn}",
            "X",
            planned.section,
            planned.kind,
            planned.terminals,
            Quantity(shown.digits, shown.unit, shown.qualifier),
            test_voltage_set=Decimal(volts) if volts else None,
            test_voltage_built=None if shown.built_v is None else Decimal(shown.built_v),
            elapsed_s=Decimal(60) if planned.kind is IR else None,
            instrument_id=meter,
            position=str(turn + 1) if planned.positions > 1 else None,
        )


def effort_table(found: Sequence[Effort]) -> str:
    """Write the table."""
    lines = [
        f"{len(found)} axes with one hard fault (a leak below 0.3 MOhm, an open circuit)",
        "",
        "| part at fault | axes | readings by the plan (median, mean) | right part | all points | right part |",
        "|---|---|---|---|---|---|",
    ]
    for part in ("motor", "cable", "joint", "all"):
        own = [e for e in found if part in (e.part, "all")]
        if own:
            plan, every = [e.planned for e in own], [e.everything for e in own]
            lines.append(
                f"| {part} | {len(own)} | {median(plan):.0f}, {mean(plan):.1f} | {mean(e.told for e in own):.1%} |"
                f" {median(every):.0f}, {mean(every):.1f} | {mean(e.told_everything for e in own):.1%} |"
            )
    return "\n".join(lines)
