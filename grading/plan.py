"""What to measure next, and why; what is skipped, and when to stop.

The points come from `grading.plan_table`; this module walks them over the records at hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from grading.advice import motor_first
from grading.case import Case, build_case, in_ohm
from grading.limits import machine_limit
from grading.measurement import AxisContext, Instrument, Measurement
from grading.plan_table import (
    AFTER_BAD_WHOLE,
    LEFT_AFTER_GOOD,
    METER_CLEAR,
    PLAN_OF_ANY_KIND,
    PLANS,
    PREPARE,
    PREPARE_EXTRA,
    SCREEN_CLEAR,
    Left,
    PlanPoint,
    Preparation,
    VoltageStep,
    When,
)
from grading.reading import BoundedReading, Shape
from grading.rules.circuit import is_open
from grading.rules.insulation import is_full_voltage
from grading.rules.phases import unequal
from grading.shop import ShopProfile
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import ends, is_earth, to_earth


class SkipReason(StrEnum):
    """Why a point is left out now."""

    WHOLE_NOT_FAILED = "whole_not_failed"
    CIRCUIT_SOUND = "circuit_sound"
    PATH_TO_EARTH = "path_to_earth"
    LOWER_STEP_NOT_CLEAR = "lower_step_not_clear"


class StopReason(StrEnum):
    """Why nothing more is needed."""

    PARTS_TESTED = "parts_tested"
    WHOLE_GOOD = "whole_good"
    KIND_NOT_KNOWN = "kind_not_known"  # the points that every kind of motor has are done; the others need its kind


@dataclass(frozen=True)
class Task:
    """One point to measure.

    Attributes:
        point: The plan's point.
        test_voltage: Voltage to select, V; None where none is applied.
        done: It has been measured.
        skipped: Why it is left out; None where it is not.
        prepare: What to do first, where this is the first point of its part.
    """

    point: PlanPoint
    test_voltage: Decimal | None
    done: bool
    skipped: SkipReason | None
    prepare: tuple[Preparation, ...] = ()


@dataclass(frozen=True)
class PlanState:
    """Where an axis stands in its plan.

    Attributes:
        tasks: Every point in order.
        next: The next one to measure, or None.
        stop: Why nothing more is needed; None while something is.
        left: What is left to look at should the alarm stay although all is good, each with its source; else empty.
    """

    tasks: tuple[Task, ...]
    next: Task | None
    stop: StopReason | None
    left: tuple[tuple[Left, str], ...] = ()


def plan_axis(
    measurements: Sequence[Measurement],
    context: AxisContext,
    instruments: Mapping[str, Instrument] | None = None,
    *,
    profile: ShopProfile | None = None,
) -> PlanState:
    """Walk the plan of an axis over what has been measured.

    Args:
        measurements: Records in force.
        context: What is known of the axis.
        instruments: By id.
        profile: Limits in force.

    While nobody chose the kind of motor, the plan holds only the points that every kind has.
    """
    case = build_case(tuple(measurements), context, instruments, profile)
    order = [Section.THROUGH_CABLE, *_parts(context)]
    tasks = tuple(task for section in order for task in _tasks(case, section))
    open_tasks = [task for task in tasks if not task.done and not task.skipped]
    following = open_tasks[0] if open_tasks else None
    stop = None if following else _stop(case)
    return PlanState(tasks, following, stop, LEFT_AFTER_GOOD if stop is StopReason.WHOLE_GOOD else ())


def _parts(context: AxisContext) -> tuple[Section, Section]:
    """Order the parts: the one that is likelier at fault or easier to test comes first."""
    motor = motor_first(context)
    return (Section.MOTOR_ALONE, Section.CABLE_ALONE) if motor else (Section.CABLE_ALONE, Section.MOTOR_ALONE)


def _tasks(case: Case, section: Section) -> Iterator[Task]:
    choice = case.voltages
    volts = {VoltageStep.NONE: None, VoltageStep.SCREENING: choice.screening, VoltageStep.JUDGING: choice.judging}
    used: dict[VoltageStep, set[str]] = {step: set() for step in VoltageStep}
    prepare = PREPARE[section]
    chosen = case.context.motor_chosen
    if section is Section.MOTOR_ALONE and chosen:
        prepare += PREPARE_EXTRA[case.context.motor_kind]
    seconds = int(case.limit("insulation.time").value)
    positions = int(case.limit("winding.armature_positions").value)
    points = PLANS[case.context.motor_kind] if chosen else PLAN_OF_ANY_KIND
    for number, planned in enumerate(points[section]):
        point = replace(
            planned,
            seconds=seconds if planned.seconds else 0,
            positions=positions if planned.positions > 1 else planned.positions,
        )
        done = _done(case, point, volts[point.step], used[point.step])
        skipped = None if done else _skip(case, point)
        yield Task(point, volts[point.step], done, skipped, prepare if number == 0 else ())


def _done(case: Case, point: PlanPoint, volts: Decimal | None, used: set[str]) -> bool:
    """Tell whether enough records answer the point; one that names no lead answers one point only."""
    found = [r for r in case.of(point.kind, point.section) if r.id not in used and _answers(case, r, point, volts)]
    if len(found) < point.positions:
        return False
    used.update(r.id for r in found[: point.positions] if "LEAD" in ends(r.measurement.terminals))
    return True


def _answers(case: Case, reading: BoundedReading, point: PlanPoint, volts: Decimal | None) -> bool:
    if reading.shape is Shape.NONE or not _same_place(reading, point):
        return False
    if point.step is VoltageStep.NONE or volts is None:
        return True
    selected = reading.measurement.test_voltage_set
    if point.step is VoltageStep.SCREENING:
        return True  # a higher step answers it too, and is only reached over a clear one
    full = is_full_voltage(case, reading) or (selected is not None and selected >= volts)
    return full and not reading.early


def _same_place(reading: BoundedReading, point: PlanPoint) -> bool:
    here, wanted = reading.measurement.terminals, point.terminals
    if to_earth(here) and to_earth(wanted):
        joined = point.section is not Section.CABLE_ALONE and point.kind is QuantityKind.INSULATION_RESISTANCE
        generic = ends(here)[0] in ("LEAD", "") or not ends(here)[1] or ends(wanted)[0] == "LEAD"
        return joined or generic or _leads(wanted) <= _leads(here)
    generic = ends(here) == ("LEAD", "LEAD")
    return to_earth(here) == to_earth(wanted) and (generic or frozenset(ends(here)) == frozenset(ends(wanted)))


def _leads(terminals: str) -> frozenset[str]:
    return frozenset(part for end in ends(terminals) for part in end.split("+") if not is_earth(part))


def _skip(case: Case, point: PlanPoint) -> SkipReason | None:
    """Give the reason for which a point is left out now; None where it is due."""
    if point.when in AFTER_BAD_WHOLE and not _whole_bad(case):
        return SkipReason.WHOLE_NOT_FAILED
    if point.when is When.SERIES_BAD and not _series_bad(case):
        return SkipReason.CIRCUIT_SOUND
    if point.when in METER_CLEAR and _meter_low(case, point.section):
        return SkipReason.PATH_TO_EARTH
    if point.when in SCREEN_CLEAR and not _screen_clear(case, point):
        return SkipReason.LOWER_STEP_NOT_CLEAR if _tested(case, point) else None
    return None


def _floor(case: Case) -> Decimal:
    return in_ohm(machine_limit(case.context, case.profile.limits))


def _meter_low(case: Case, section: Section) -> bool:
    return any(r.interval.high < _floor(case) for r in case.of(QuantityKind.RESISTANCE_TO_GROUND, section))


def _tested(case: Case, point: PlanPoint) -> list[BoundedReading]:
    same = [r for r in case.of(QuantityKind.INSULATION_RESISTANCE, point.section) if _same_place(r, point)]
    return [r for r in same if r.shape is not Shape.NONE]


def _screen_clear(case: Case, point: PlanPoint) -> bool:
    readings = _tested(case, point)
    if not readings:
        return False
    bad = any(r.shape in (Shape.COLLAPSED, Shape.UNEXPLAINED) or r.interval.low < _floor(case) for r in readings)
    moving = any(r.noted(Circumstance.UNSTEADY) or r.noted(Circumstance.FALLING) for r in readings)
    return not bad and not moving


def _whole_bad(case: Case) -> bool:
    """Tell whether the whole failed, or cannot be judged although it was tested."""
    tests = [r for r in case.of(QuantityKind.INSULATION_RESISTANCE, Section.THROUGH_CABLE) if r.shape is not Shape.NONE]
    low = any(r.shape is Shape.COLLAPSED or r.interval.low < _floor(case) for r in tests)
    return low or _meter_low(case, Section.THROUGH_CABLE) or _series_bad(case)


def _series_bad(case: Case) -> bool:
    readings = case.of(QuantityKind.WINDING_RESISTANCE, Section.THROUGH_CABLE)
    return any(is_open(case, r) for r in readings) or unequal(case, Section.THROUGH_CABLE)


def _stop(case: Case) -> StopReason:
    if not case.context.motor_chosen:
        return StopReason.KIND_NOT_KNOWN
    return StopReason.PARTS_TESTED if _whole_bad(case) else StopReason.WHOLE_GOOD
