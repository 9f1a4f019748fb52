"""The test plan as data: for each motor kind, which points in which order, why, and under which condition.

Program's rule throughout; the laws behind it are the parallel law (a good whole clears both parts) and the rule never
to raise a test voltage over a fault that a lower one already shows.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from grading.limits import LIMITS
from grading.measurement import MotorKind
from grading.terms.quantity import QuantityKind
from grading.terms.section import Section


class When(StrEnum):
    """Condition under which a point is taken."""

    ALWAYS = "always"
    SCREEN_CLEAR = "screen_clear"  # the screening step of this part reads at least the floor and is steady
    WHOLE_BAD = "whole_bad"  # the whole failed or could not be judged, so the parts are tested
    WHOLE_BAD_METER_CLEAR = "whole_bad_meter_clear"  # and the ohmmeter found no path to earth in this part
    WHOLE_BAD_SCREEN_CLEAR = "whole_bad_screen_clear"
    SERIES_BAD = "series_bad"  # lead to lead is open or unequal through the cable


AFTER_BAD_WHOLE = frozenset({When.WHOLE_BAD, When.WHOLE_BAD_METER_CLEAR, When.WHOLE_BAD_SCREEN_CLEAR, When.SERIES_BAD})
"""Conditions that ask for a whole that failed."""
METER_CLEAR = frozenset({When.SCREEN_CLEAR, When.WHOLE_BAD_METER_CLEAR, When.WHOLE_BAD_SCREEN_CLEAR})
"""Conditions that ask for an ohmmeter without a path to earth."""
SCREEN_CLEAR = frozenset({When.SCREEN_CLEAR, When.WHOLE_BAD_SCREEN_CLEAR})
"""Conditions that ask for a clear screening step."""


class PlanReason(StrEnum):
    """Why a point is taken."""

    WINDING_WITHOUT_VOLTAGE = "winding_without_voltage"
    LEAK_WITHOUT_VOLTAGE = "leak_without_voltage"
    LOW_STEP_FIRST = "low_step_first"
    LIMITS_HOLD = "limits_hold"
    PART_BY_ITSELF = "part_by_itself"
    CORE_TO_CORE = "core_to_core"
    BROKEN_STRANDS = "broken_strands"


class IfBad(StrEnum):
    """What a bad value makes necessary."""

    MOTOR_AND_CORES = "motor_and_cores"
    SPLIT_AXIS = "split_axis"
    STOP_AND_SPLIT = "stop_and_split"
    TEST_APART = "test_apart"
    WINDING_AT_FAULT = "winding_at_fault"
    CLEAN_THEN_MOTOR = "clean_then_motor"
    CABLE_AT_FAULT = "cable_at_fault"


class Preparation(StrEnum):
    """What to do before the first point of a part (program's rules; the site's own procedure comes first)."""

    LOCK_OUT = "lock_out"
    TAKE_AUXILIARY_OUT = "take_auxiliary_out"
    UNPLUG_AND_BLOCK = "unplug_and_block"
    NOTE_WINDING_TEMPERATURE = "note_winding_temperature"
    FAR_END_FREE = "far_end_free"
    LIFT_BRUSHES = "lift_brushes"
    STAR_DELTA_OFF = "star_delta_off"


class Left(StrEnum):
    """What is left to look at where insulation and windings are good and the alarm stays."""

    MOVE_CABLE = "move_cable"
    WARM_MOTOR = "warm_motor"
    BRAKE = "brake"
    TURNS = "turns"
    DRIVE_OUTPUT = "drive_output"


_NO_SOURCE = "common practice, no source"
LEFT_AFTER_GOOD: tuple[tuple[Left, str], ...] = (
    (Left.MOVE_CABLE, _NO_SOURCE),
    (Left.WARM_MOTOR, "IEEE 43-2013, 6.3 (secondary text)"),
    (Left.BRAKE, _NO_SOURCE),
    (Left.TURNS, _NO_SOURCE),
    (Left.DRIVE_OUTPUT, _NO_SOURCE),
)
"""What is left, least work first, each with where it comes from."""


class VoltageStep(StrEnum):
    """Which test voltage a point wants (`grading.voltage.choose` gives the figure)."""

    NONE = "none"
    SCREENING = "screening"
    JUDGING = "judging"


@dataclass(frozen=True)
class PlanPoint:
    """One point of a plan.

    Attributes:
        section: Part of the axis.
        kind: What to measure.
        terminals: Where.
        step: Test voltage.
        when: Condition.
        reason: Why.
        if_bad: What a bad value makes necessary.
        positions: Shaft positions to repeat at.
        seconds: Time under voltage; 0 where none is applied.
    """

    section: Section
    kind: QuantityKind
    terminals: str
    step: VoltageStep
    when: When
    reason: PlanReason
    if_bad: IfBad
    positions: int = 1
    seconds: int = 0


_W, _G, _I, _C = (
    QuantityKind.WINDING_RESISTANCE,
    QuantityKind.RESISTANCE_TO_GROUND,
    QuantityKind.INSULATION_RESISTANCE,
    QuantityKind.CONTINUITY,
)
_WHOLE, _MOTOR, _CABLE = Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE

_LL = (PlanReason.WINDING_WITHOUT_VOLTAGE, IfBad.MOTOR_AND_CORES)
_LL_MOTOR = (PlanReason.WINDING_WITHOUT_VOLTAGE, IfBad.WINDING_AT_FAULT)
_LG = (PlanReason.LEAK_WITHOUT_VOLTAGE, IfBad.SPLIT_AXIS)
_LG_MOTOR = (PlanReason.LEAK_WITHOUT_VOLTAGE, IfBad.CLEAN_THEN_MOTOR)
_SCREEN = (PlanReason.LOW_STEP_FIRST, IfBad.STOP_AND_SPLIT)
_SCREEN_CABLE = (PlanReason.LOW_STEP_FIRST, IfBad.CABLE_AT_FAULT)
_JUDGE = (PlanReason.LIMITS_HOLD, IfBad.TEST_APART)
_JUDGE_MOTOR = (PlanReason.PART_BY_ITSELF, IfBad.CLEAN_THEN_MOTOR)
_JUDGE_CABLE = (PlanReason.PART_BY_ITSELF, IfBad.CABLE_AT_FAULT)
_CORES = (PlanReason.CORE_TO_CORE, IfBad.CABLE_AT_FAULT)
_STRANDS = (PlanReason.BROKEN_STRANDS, IfBad.CABLE_AT_FAULT)


def _point(
    section: Section,
    kind: QuantityKind,
    terminals: str,
    step: VoltageStep,
    when: When,
    why: tuple[PlanReason, IfBad],
    positions: int = 1,
) -> PlanPoint:
    seconds = int(LIMITS["insulation.time"].value) if kind is _I else 0
    return PlanPoint(section, kind, terminals, step, when, why[0], why[1], positions, seconds)


def _whole(pairs: tuple[str, ...], leads: tuple[str, ...], joined: str) -> tuple[PlanPoint, ...]:
    return (
        *(_point(_WHOLE, _W, p, VoltageStep.NONE, When.ALWAYS, _LL) for p in pairs),
        *(_point(_WHOLE, _G, f"{lead}-PE", VoltageStep.NONE, When.ALWAYS, _LG) for lead in leads),
        _point(_WHOLE, _I, joined, VoltageStep.SCREENING, When.ALWAYS, _SCREEN),
        _point(_WHOLE, _I, joined, VoltageStep.JUDGING, When.SCREEN_CLEAR, _JUDGE),
    )


def _motor(pairs: tuple[str, ...], lead: str, joined: str, positions: int) -> tuple[PlanPoint, ...]:
    return (
        *(_point(_MOTOR, _W, p, VoltageStep.NONE, When.WHOLE_BAD, _LL_MOTOR, positions) for p in pairs),
        _point(_MOTOR, _G, f"{lead}-PE", VoltageStep.NONE, When.WHOLE_BAD, _LG_MOTOR),
        _point(_MOTOR, _I, joined, VoltageStep.SCREENING, When.WHOLE_BAD_METER_CLEAR, _SCREEN),
        _point(_MOTOR, _I, joined, VoltageStep.JUDGING, When.WHOLE_BAD_SCREEN_CLEAR, _JUDGE_MOTOR),
    )


def _cable(leads: tuple[str, ...], pairs: tuple[str, ...]) -> tuple[PlanPoint, ...]:
    low, high = VoltageStep.SCREENING, VoltageStep.JUDGING
    return (
        *(_point(_CABLE, _I, f"{lead}-PE", low, When.WHOLE_BAD, _SCREEN_CABLE) for lead in leads),
        *(_point(_CABLE, _I, f"{lead}-PE", high, When.WHOLE_BAD_SCREEN_CLEAR, _JUDGE_CABLE) for lead in leads),
        *(_point(_CABLE, _I, pair, low, When.WHOLE_BAD, _CORES) for pair in pairs),
        *(_point(_CABLE, _C, f"{lead}-{lead}", VoltageStep.NONE, When.SERIES_BAD, _STRANDS) for lead in leads),
    )


_BRUSHED = (("A1-A2",), ("A1", "A2"), "A1+A2-PE")
_THREE = (("U-V", "V-W", "W-U"), ("U", "V", "W"), "U+V+W-PE")


def _plan(leads: tuple[tuple[str, ...], tuple[str, ...], str], positions: int) -> dict[Section, tuple[PlanPoint, ...]]:
    pairs, names, joined = leads
    return {
        _WHOLE: _whole(pairs, names, joined),
        _MOTOR: _motor(pairs, names[0], joined, positions),
        _CABLE: _cable(names, pairs),
    }


PLANS: dict[MotorKind, dict[Section, tuple[PlanPoint, ...]]] = {
    MotorKind.DC_SERVO: _plan(_BRUSHED, int(LIMITS["winding.armature_positions"].value)),
    MotorKind.AC_SERVO: _plan(_THREE, 1),
    MotorKind.SPINDLE: _plan(_THREE, 1),
}

PLAN_OF_ANY_KIND: dict[Section, tuple[PlanPoint, ...]] = {
    _WHOLE: (
        _point(_WHOLE, _G, "lead-ground", VoltageStep.NONE, When.ALWAYS, _LG),
        _point(_WHOLE, _I, "lead-ground", VoltageStep.SCREENING, When.ALWAYS, _SCREEN),
        _point(_WHOLE, _I, "lead-ground", VoltageStep.JUDGING, When.SCREEN_CLEAR, _JUDGE),
    ),
    _MOTOR: (
        _point(_MOTOR, _G, "lead-ground", VoltageStep.NONE, When.WHOLE_BAD, _LG_MOTOR),
        _point(_MOTOR, _I, "lead-ground", VoltageStep.SCREENING, When.WHOLE_BAD_METER_CLEAR, _SCREEN),
        _point(_MOTOR, _I, "lead-ground", VoltageStep.JUDGING, When.WHOLE_BAD_SCREEN_CLEAR, _JUDGE_MOTOR),
    ),
    _CABLE: (
        _point(_CABLE, _I, "lead-ground", VoltageStep.SCREENING, When.WHOLE_BAD, _SCREEN_CABLE),
        _point(_CABLE, _I, "lead-ground", VoltageStep.JUDGING, When.WHOLE_BAD_SCREEN_CLEAR, _JUDGE_CABLE),
    ),
}
"""The points that every kind of motor has, without leads by name: what is measured while its kind is not known.

Which leads there are, between which of them to measure, and at how many positions follows from the kind alone.
"""

PREPARE: dict[Section, tuple[Preparation, ...]] = {
    _WHOLE: (Preparation.LOCK_OUT, Preparation.TAKE_AUXILIARY_OUT),
    _MOTOR: (Preparation.UNPLUG_AND_BLOCK, Preparation.NOTE_WINDING_TEMPERATURE),
    _CABLE: (Preparation.FAR_END_FREE,),
}
"""What to do before the first point of a part."""
PREPARE_EXTRA: dict[MotorKind, tuple[Preparation, ...]] = {
    MotorKind.DC_SERVO: (Preparation.LIFT_BRUSHES,),
    MotorKind.AC_SERVO: (),
    MotorKind.SPINDLE: (Preparation.STAR_DELTA_OFF,),
}
"""What to do besides before the first point of the motor alone."""
