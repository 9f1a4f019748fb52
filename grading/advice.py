"""What to do next, least work first, from what is known of the axis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from grading.finding import Fault, NextStep
from grading.isolation import WHOLE_BAD, Location, Part
from grading.measurement import AxisContext, CarrierUse, MotorKind, Reach

# Calls to find a fault; they fall away once it is found.
KEEP_OFF = "Do not re-energise from the drive; find the part at fault."
KEEP_OFF_LOW = "Do not re-energise from the drive, do not raise the test voltage; find the part at fault."
SPLIT_LOW = "Do not apply a high test voltage; start insulation tests at the lowest step and split the axis."
CHECK_CIRCUIT = "Check plug and terminals, then measure at the motor."
FIND_IT = (KEEP_OFF, KEEP_OFF_LOW, SPLIT_LOW, CHECK_CIRCUIT)
CLEAN_MOTOR = "Clean and dry the motor, retest, and plan its repair."


def next_after(context: AxisContext, place: Location) -> tuple[NextStep, ...]:
    """Steps that follow from where the fault is, most useful first."""
    if place.fault is Fault.CONTRADICTORY:
        return (_REPEAT_ALL,)
    if place.fault is Fault.NEITHER:
        return () if place.certain else (_measure(context, Part.WHOLE),)
    if not place.certain and place.fault is not Fault.BOTH:
        return _split(context, place)
    repairs = {
        Fault.CABLE: (_cable,),
        Fault.MOTOR: (_motor,),
        Fault.BOTH: (_cable, _motor),
        Fault.CONNECTOR_OR_MOISTURE: (_connector,),
    }
    return tuple(step for repair in repairs[place.fault] for step in repair(context))


_REPEAT_ALL = NextStep(
    "Repeat the whole and the low part at one voltage and time, and check that it is the same axis.",
    "A whole cannot read better than one of its parts; one reading is wrong or the part changed.",
    "Three readings that agree with the parallel law.",
)


def _split(context: AxisContext, place: Location) -> tuple[NextStep, ...]:
    """Both parts come free with one plug; what differs is where to look first."""
    if place.words == WHOLE_BAD:
        first, second = (Part.MOTOR, Part.CABLE) if motor_first(context) else (Part.CABLE, Part.MOTOR)
        steps = [_measure(context, first), _measure(context, second)]
        if context.cable_spare_on_hand and context.motor_plug_reach is not Reach.HARD:
            steps.append(
                NextStep(
                    "Or connect the spare cable over the floor and test the whole again.",
                    "A spare is on hand, and a good whole then convicts the old cable.",
                )
            )
        return tuple(steps)
    return (_measure(context, place.measure_next),)


def motor_first(context: AxisContext) -> bool:
    """The cable comes first unless it does not move and the motor stands in coolant or carries brushes."""
    if context.moving_cable is not False:
        return False
    return context.coolant_near or context.motor_kind is MotorKind.DC_SERVO or context.cable_reach is Reach.HARD


def _measure(context: AxisContext, part: Part) -> NextStep:
    hard = (
        " The plug is hard to reach: have everything ready to test both parts while it is open."
        if (context.motor_plug_reach is Reach.HARD)
        else ""
    )
    if part is Part.CABLE:
        why = (
            "A cable that moves fails more often than the motor it feeds"
            if context.moving_cable is not False
            else ("The cable is the part still unknown")
        )
        return NextStep(
            "Unplug the motor and test the cable alone from the cabinet: each core to earth and to the others.",
            f"{why}, and it can be tested from the cabinet once the plug is off.{hard}",
            "A good cable leaves motor or connector.",
        )
    if part is Part.MOTOR:
        return NextStep(
            "Unplug the motor and test the motor alone at its connector, at the same voltage and time.",
            f"It shows whether the winding is at fault.{hard}",
            "A good motor leaves cable or connector.",
        )
    return NextStep(
        "Reconnect and test the whole from the cabinet at the same voltage and time.",
        "Connectors and terminal boxes are in the circuit only then.",
    )


def _cable(context: AxisContext) -> tuple[NextStep, ...]:
    spare = "The spare on hand fits now." if context.cable_spare_on_hand else "Order the cable now."
    return (
        NextStep(
            f"Replace the cable before re-energising. {spare}",
            "The cable is the failed part.",
            "The whole above its limit after replacement.",
        ),
        NextStep(
            "Photograph the wear point, and check cables in the same carrier.",
            "Neighbours have bent as often and lain in the same coolant.",
        ),
    )


def _motor(context: AxisContext) -> tuple[NextStep, ...]:
    brushed = context.motor_kind is MotorKind.DC_SERVO
    clean = "Vacuum out brush dust, clean, dry and retest the motor." if brushed else "Clean, dry and retest the motor."
    spare = "Fit the spare motor." if context.motor_spare_on_hand else "Send it to be repaired or order another."
    return (
        NextStep(
            clean,
            "Dust, coolant and moisture account for many low readings.",
            "A rise above the limit confirms dirt or moisture; no change convicts the winding.",
        ),
        NextStep(f"If it stays low: {spare}", "The winding itself has then failed."),
    )


def _connector(context: AxisContext) -> tuple[NextStep, ...]:
    wet = " Coolant reaches it." if context.coolant_near else ""
    return (
        NextStep(
            "Open, clean and dry the connector and terminal box, reconnect, and retest the whole while flexing.",
            f"The parts are good apart and bad together.{wet}",
            "A whole as good as its parts confirms it; low only in one position points at the cable's bend.",
        ),
    )


def series_steps(context: AxisContext, fault: Fault) -> tuple[NextStep, ...]:
    """Steps that follow from where a circuit is open, lead to lead."""
    brushes = ", brushes" if context.motor_kind is MotorKind.DC_SERVO else ""
    settles = "A closed circuit once the joint is made good puts the fault there."
    motor = NextStep(
        f"Open the motor's terminal box and check terminals{brushes} and joints; repair or replace the motor if the "
        "winding itself is open.",
        "The circuit through the motor is open.",
        settles,
    )
    cable = NextStep(
        "Check pins and crimps at both plugs, then measure each core end to end while flexing; replace the cable if a "
        "core is broken.",
        "The circuit through the cable is open.",
        settles,
    )
    either = _measure_circuit(context)
    return {
        Fault.MOTOR: (motor,),
        Fault.CABLE: (cable,),
        Fault.BOTH: (cable, motor),
        Fault.UNDETERMINED: (either,),
    }.get(fault, ())


def _measure_circuit(context: AxisContext) -> NextStep:
    leads = "A1 to A2" if context.motor_kind is MotorKind.DC_SERVO else "all three pairs"
    return NextStep(
        f"Unplug the motor and measure the motor alone lead to lead ({leads}).",
        "The circuit is open from the cabinet; cable and motor are in series.",
        "Closed at the motor puts the break in the cable or its plugs.",
    )


def carrier_score(use: CarrierUse) -> Decimal:
    """How worn a moving cable should be: cycles/rated times bend, torsion and coolant factors (house rule).

    Raises:
        ValueError: The rated cycles are not above 0.
    """
    if use.rated_cycles <= 0:
        raise ValueError("The cable's rated cycles must be above 0.")
    return use.cycles / use.rated_cycles * use.bend_ratio * use.torsion * use.coolant


def cable_order(contexts: Mapping[str, AxisContext]) -> tuple[str, ...]:
    """Axes in the order in which their cables are worth opening: highest score first, moving before fixed.

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
    """Steps in order, each action once."""
    seen: dict[str, NextStep] = {}
    for step in steps:
        seen.setdefault(step.action, step)
    return tuple(seen.values())
