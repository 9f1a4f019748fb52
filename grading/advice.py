"""What to do next, least work first, from what is known of the axis."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from decimal import Decimal

from grading.isolation import Fault, Location, Outcome, Part
from grading.measurement import AxisContext, CarrierUse, MotorKind, Reach
from grading.steps import Action, NextStep, Reason, ReasonKind, Settling, StepKind, step

FIND_IT = frozenset({StepKind.KEEP_OFF, StepKind.KEEP_OFF_LOW, StepKind.SPLIT_LOW, StepKind.CHECK_CIRCUIT})
"""Calls to find a fault; they fall away once it is found."""
DEAD_FIRST = frozenset({StepKind.ISOLATE_AND_DISCHARGE, StepKind.PROVE_DEAD})
"""What comes before every other step: a circuit that is not dead is not worked on."""
PROTECT_DRIVE = frozenset({StepKind.KEEP_OFF, StepKind.KEEP_OFF_LOW})
"""What protects the drive; it comes first while the fault is not found."""


def next_after(context: AxisContext, place: Location) -> tuple[NextStep, ...]:
    """Give the steps that follow from where the fault is, most useful first."""
    if place.fault is Fault.CONTRADICTORY:
        return (_REPEAT_ALL,)
    if place.fault is Fault.NEITHER:
        return () if place.certain else (_measure(context, Part.WHOLE),)
    if place.fault not in _REPAIRS:
        return _split(context, place)
    repairs = tuple(one for repair in _REPAIRS[place.fault] for one in repair(context))
    if place.certain or place.fault is Fault.BOTH:
        return repairs
    # What failed in its own test is repaired whatever the other part turns out to be, so that settles nothing of it.
    return (*repairs, replace(_measure(context, place.measure_next, place.cores_left), settles=None))


_REPEAT_ALL = step(StepKind.REPEAT_WHOLE_AND_LOW, ReasonKind.WHOLE_ABOVE_PART, Settling.PARALLEL_LAW)


def _split(context: AxisContext, place: Location) -> tuple[NextStep, ...]:
    """Split motor and cable: both come free with one plug; what differs is where to look first."""
    if place.outcome is not Outcome.WHOLE_BAD or place.unclear:
        return (_measure(context, place.measure_next, place.cores_left),)
    first, second = (Part.MOTOR, Part.CABLE) if motor_first(context) else (Part.CABLE, Part.MOTOR)
    steps = [_measure(context, part, place.cores_left) for part in (first, second)]
    if context.cable_spare_on_hand and context.motor_plug_reach is not Reach.HARD:
        steps.append(step(StepKind.SPARE_OVER_FLOOR, ReasonKind.SPARE_CONVICTS))
    return tuple(steps)


def motor_first(context: AxisContext) -> bool:
    """Tell whether the motor comes before the cable.

    It does where the cable does not move, and the motor stands in coolant or carries brushes or the cable is hard to
    reach.
    """
    if context.moving_cable is not False:
        return False
    return context.coolant_near or context.motor_kind is MotorKind.DC_SERVO or context.cable_reach is Reach.HARD


def _measure(context: AxisContext, part: Part, cores_left: bool = False) -> NextStep:
    hard = context.motor_plug_reach is Reach.HARD
    if part is Part.CABLE and cores_left:
        reason = Reason(ReasonKind.CORES_LEFT, hard_to_reach=hard)
        return step(StepKind.TEST_OTHER_CORES, reason, Settling.GOOD_CABLE)
    if part is Part.CABLE:
        fixed = context.moving_cable is False
        reason = Reason(ReasonKind.CABLE_UNKNOWN if fixed else ReasonKind.CABLE_MOVES, hard_to_reach=hard)
        return step(StepKind.TEST_CABLE_ALONE, reason, Settling.GOOD_CABLE)
    if part is Part.MOTOR:
        reason = Reason(ReasonKind.WINDING_SHOWN, hard_to_reach=hard)
        return step(StepKind.TEST_MOTOR_ALONE, reason, Settling.GOOD_MOTOR)
    return step(StepKind.TEST_WHOLE, ReasonKind.CONNECTORS_IN_CIRCUIT)


def _cable(context: AxisContext) -> tuple[NextStep, ...]:
    replacing = StepKind.REPLACE_CABLE_WITH_SPARE if context.cable_spare_on_hand else StepKind.REPLACE_CABLE_ORDER
    return (
        step(replacing, ReasonKind.CABLE_FAILED, Settling.WHOLE_ABOVE_LIMIT),
        step(StepKind.PHOTOGRAPH_WEAR, ReasonKind.NEIGHBOURS_WEAR),
    )


def _motor(context: AxisContext) -> tuple[NextStep, ...]:
    brushed = context.motor_kind is MotorKind.DC_SERVO
    cleaning = StepKind.VACUUM_MOTOR if brushed else StepKind.CLEAN_DRY_MOTOR
    failed = StepKind.IF_LOW_FIT_SPARE if context.motor_spare_on_hand else StepKind.IF_LOW_REPAIR
    return (
        step(cleaning, ReasonKind.DUST_AND_COOLANT, Settling.RISE_CONFIRMS),
        step(failed, ReasonKind.WINDING_FAILED),
    )


def _connector(context: AxisContext) -> tuple[NextStep, ...]:
    reason = Reason(ReasonKind.GOOD_APART, coolant=context.coolant_near)
    return (step(StepKind.OPEN_CONNECTOR, reason, Settling.WHOLE_AS_GOOD),)


_REPAIRS: Mapping[Fault, tuple[Callable[[AxisContext], tuple[NextStep, ...]], ...]] = {
    Fault.CABLE: (_cable,),
    Fault.MOTOR: (_motor,),
    Fault.BOTH: (_cable, _motor),
    Fault.CONNECTOR_OR_MOISTURE: (_connector,),
}
"""What repairs a part that has failed."""


def series_steps(context: AxisContext, fault: Fault) -> tuple[NextStep, ...]:
    """Give the steps that follow from where a circuit is open, lead to lead."""
    brushed = context.motor_kind is MotorKind.DC_SERVO
    box = StepKind.OPEN_TERMINAL_BOX_BRUSHES if brushed else StepKind.OPEN_TERMINAL_BOX
    motor = step(box, ReasonKind.MOTOR_OPEN, Settling.CLOSED_AFTER_JOINT)
    cable = step(StepKind.CHECK_PINS, ReasonKind.CABLE_OPEN, Settling.CLOSED_AFTER_JOINT)
    leads = StepKind.MEASURE_MOTOR_ARMATURE if brushed else StepKind.MEASURE_MOTOR_PAIRS
    either = step(leads, ReasonKind.SERIES_OPEN, Settling.CLOSED_AT_MOTOR)
    return {
        Fault.MOTOR: (motor,),
        Fault.CABLE: (cable,),
        Fault.BOTH: (cable, motor),
        Fault.UNDETERMINED: (either,),
    }.get(fault, ())


def carrier_score(use: CarrierUse) -> Decimal:
    """Score how worn a moving cable should be: cycles/rated times bend, torsion and coolant factors (program's rule).

    Raises:
        ValueError: The rated cycles are not above 0.

    Example (TV-G23-X, program's rule):
        >>> carrier_score(CarrierUse(Decimal("4.5e6"), Decimal("5e6"), coolant=Decimal("1.5")))
        Decimal('1.35')
    """
    if use.rated_cycles <= 0:
        raise ValueError("The cable's rated cycles must be above 0.")
    return use.cycles / use.rated_cycles * use.bend_ratio * use.torsion * use.coolant


def cable_order(contexts: Mapping[str, AxisContext]) -> tuple[str, ...]:
    """Give the axes in the order in which their cables are worth opening: highest score first, moving before fixed.

    Where no scores are known the order of the machine's own list stands within each group; ask which carrier moves
    most.
    """

    def key(name: str) -> tuple[Decimal, int]:
        context = contexts[name]
        score = Decimal(0)
        if context.carrier is not None and context.carrier.rated_cycles > 0:
            score = carrier_score(context.carrier)
        return -score, {True: 0, None: 1, False: 2}[context.moving_cable]

    return tuple(sorted(contexts, key=key))


def distinct(steps: Iterable[NextStep]) -> tuple[NextStep, ...]:
    """Keep the steps in order, each action once."""
    seen: dict[Action, NextStep] = {}
    for one in steps:
        seen.setdefault(one.action, one)
    return tuple(seen.values())
