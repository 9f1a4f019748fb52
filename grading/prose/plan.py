"""The test plan in words: why a point is taken or left out, what to prepare, and when to stop."""

from __future__ import annotations

from collections.abc import Sequence

from grading.plan import SkipReason, StopReason
from grading.plan_table import IfBad, Left, PlanReason, Preparation

_REASONS: dict[PlanReason, str] = {
    PlanReason.WINDING_WITHOUT_VOLTAGE: (
        "Shows an open or unequal winding, a loose joint or a broken core without any test voltage."
    ),
    PlanReason.LEAK_WITHOUT_VOLTAGE: "A few volts find a solid leak before any test voltage is applied.",
    PlanReason.LOW_STEP_FIRST: "A low step first: a fault that it shows is not to be met with a higher one.",
    PlanReason.LIMITS_HOLD: "The value that the limits hold for: motor and cable together, drive disconnected.",
    PlanReason.PART_BY_ITSELF: (
        "The part by itself, at the voltage and time of the whole, so that the values can be set against each other."
    ),
    PlanReason.CORE_TO_CORE: (
        "Core to core can be tested only with the motor unplugged; the winding joins the cores otherwise."
    ),
    PlanReason.BROKEN_STRANDS: "Broken strands show end to end, best while the cable is flexed.",
}
_IF_BAD: dict[IfBad, str] = {
    IfBad.MOTOR_AND_CORES: "Measure the motor alone and the cable's cores end to end.",
    IfBad.SPLIT_AXIS: "Do not raise the test voltage; split the axis.",
    IfBad.STOP_AND_SPLIT: "Stop here; do not raise the voltage; split the axis.",
    IfBad.TEST_APART: "Unplug the motor and test cable and motor apart.",
    IfBad.WINDING_AT_FAULT: "The winding is at fault.",
    IfBad.CLEAN_THEN_MOTOR: "Clean, dry and retest; if it stays low the motor is at fault.",
    IfBad.CABLE_AT_FAULT: "The cable is at fault; look where it bends and at its plugs.",
}
_PREPARATIONS: dict[Preparation, str] = {
    Preparation.LOCK_OUT: ("Lock out, support vertical axes, prove dead, and take the motor leads off the drive."),
    Preparation.TAKE_AUXILIARY_OUT: "Take encoder, brake and thermal sensor leads out of the test.",
    Preparation.UNPLUG_AND_BLOCK: "Unplug the motor at its connector and block the shaft.",
    Preparation.NOTE_WINDING_TEMPERATURE: "Note the winding temperature.",
    Preparation.FAR_END_FREE: "Leave the far end free and insulated, and keep people away from both ends.",
    Preparation.LIFT_BRUSHES: "Lift the brushes for the second reading and test the brush holders to frame apart.",
    Preparation.STAR_DELTA_OFF: "Disconnect star and delta contactors; note whether six leads come out.",
}
_SKIPPED: dict[SkipReason, str] = {
    SkipReason.WHOLE_NOT_FAILED: "the whole has not failed",
    SkipReason.CIRCUIT_SOUND: "lead to lead is sound",
    SkipReason.PATH_TO_EARTH: "the ohmmeter already shows a path to earth",
    SkipReason.LOWER_STEP_NOT_CLEAR: "the lower step is not clear",
}
_STOPS: dict[StopReason, str] = {
    StopReason.PARTS_TESTED: "The parts have been tested apart; the verdict says which one failed.",
    StopReason.KIND_NOT_KNOWN: (
        "What every kind of motor has is measured; say which kind this one is, and the rest of its plan follows."
    ),
    StopReason.WHOLE_GOOD: "The whole is good, which clears motor and cable at this position.",
}


_LEFT: dict[Left, str] = {
    Left.MOVE_CABLE: "measure again while cable and plugs are moved through their whole travel",
    Left.WARM_MOTOR: "measure again with the motor warm from work, since insulation falls as it warms",
    Left.BRAKE: "check the brake: its coil, its supply, and whether it releases",
    Left.TURNS: (
        "have a qualified shop compare surges or inductance over the rotor's angle, since shorted turns show in "
        "neither insulation nor resistance while they are few"
    ),
    Left.DRIVE_OUTPUT: "check the drive's output by its maker's manual with the motor off it",
}


def left_text(left: Sequence[tuple[Left, str]]) -> str:
    """Write what is left where all is good and the alarm stays, each with its source; "" where nothing is."""
    if not left:
        return ""
    items = "; ".join(f"{_LEFT[kind]} ({source})" for kind, source in left)
    return f"Should the alarm stay, what is left: {items}."


def plan_reason_text(reason: PlanReason) -> str:
    """Write why a point is taken."""
    return _REASONS[reason]


def if_bad_text(needed: IfBad) -> str:
    """Write what a bad value makes necessary."""
    return _IF_BAD[needed]


def preparation_text(preparation: Preparation) -> str:
    """Write what to do first."""
    return _PREPARATIONS[preparation]


def skipped_text(reason: SkipReason | None) -> str:
    """Write why a point is left out; "" where it is not."""
    return "" if reason is None else _SKIPPED[reason]


def stop_text(reason: StopReason | None) -> str:
    """Write why nothing more is needed; "" while something is."""
    return "" if reason is None else _STOPS[reason]
