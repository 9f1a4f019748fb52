"""The test plan as data: for each motor kind, which points in which order, why, and under which condition.

House rule throughout; the laws behind it are the parallel law (a good whole clears both parts) and the rule never to
raise a test voltage over a fault that a lower one already shows.
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
    METER_CLEAR = "meter_clear"  # the ohmmeter found no path to earth in this part
    SCREEN_CLEAR = "screen_clear"  # the screening step of this part reads at least the floor and is steady
    WHOLE_BAD = "whole_bad"  # the whole failed or could not be judged, so the parts are tested
    WHOLE_BAD_METER_CLEAR = "whole_bad_meter_clear"
    WHOLE_BAD_SCREEN_CLEAR = "whole_bad_screen_clear"
    SERIES_BAD = "series_bad"  # lead to lead is open or unequal through the cable


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
        reason: Why, in one sentence.
        if_bad: What a bad value makes necessary, in one sentence.
        positions: Shaft positions to repeat at.
        seconds: Time under voltage; 0 where none is applied.
    """

    section: Section
    kind: QuantityKind
    terminals: str
    step: VoltageStep
    when: When
    reason: str
    if_bad: str
    positions: int = 1
    seconds: int = 0


_W, _G, _I, _C = (
    QuantityKind.WINDING_RESISTANCE,
    QuantityKind.RESISTANCE_TO_GROUND,
    QuantityKind.INSULATION_RESISTANCE,
    QuantityKind.CONTINUITY,
)
_WHOLE, _MOTOR, _CABLE = Section.THROUGH_CABLE, Section.MOTOR_ALONE, Section.CABLE_ALONE

_LL = "Shows an open or unequal winding, a loose joint or a broken core without any test voltage."
_LL_BAD = "Measure the motor alone and the cable's cores end to end."
_LL_MOTOR_BAD = "The winding, its brushes or its terminals are at fault."
_LG = "A few volts find a solid leak before any test voltage is applied."
_LG_BAD = "Do not raise the test voltage; split the axis."
_SCREEN = "A low step first: a fault that it shows is not to be met with a higher one."
_SCREEN_BAD = "Stop here; do not raise the voltage; split the axis."
_JUDGE = "The value that the limits hold for: motor and cable together, drive disconnected."
_JUDGE_BAD = "Unplug the motor and test cable and motor apart."
_CLEAR = "The part by itself, at the voltage and time of the whole, so that the values can be set against each other."
_CORES = "Core to core can be tested only with the motor unplugged; the winding joins the cores otherwise."


def _point(
    section: Section,
    kind: QuantityKind,
    terminals: str,
    step: VoltageStep,
    when: When,
    texts: tuple[str, str],
    positions: int = 1,
) -> PlanPoint:
    seconds = int(LIMITS["insulation.time"].value) if kind is _I else 0
    return PlanPoint(section, kind, terminals, step, when, texts[0], texts[1], positions, seconds)


def _whole(pairs: tuple[str, ...], leads: tuple[str, ...], joined: str) -> tuple[PlanPoint, ...]:
    return (
        *(_point(_WHOLE, _W, p, VoltageStep.NONE, When.ALWAYS, (_LL, _LL_BAD)) for p in pairs),
        *(_point(_WHOLE, _G, f"{lead}-PE", VoltageStep.NONE, When.ALWAYS, (_LG, _LG_BAD)) for lead in leads),
        _point(_WHOLE, _I, joined, VoltageStep.SCREENING, When.ALWAYS, (_SCREEN, _SCREEN_BAD)),
        _point(_WHOLE, _I, joined, VoltageStep.JUDGING, When.SCREEN_CLEAR, (_JUDGE, _JUDGE_BAD)),
    )


def _motor(pairs: tuple[str, ...], lead: str, joined: str, positions: int) -> tuple[PlanPoint, ...]:
    bad = "Clean, dry and retest; if it stays low the motor is at fault."
    return (
        *(
            _point(_MOTOR, _W, p, VoltageStep.NONE, When.WHOLE_BAD, (_LL, "The winding is at fault."), positions)
            for p in pairs
        ),
        _point(_MOTOR, _G, f"{lead}-PE", VoltageStep.NONE, When.WHOLE_BAD, (_LG, bad)),
        _point(_MOTOR, _I, joined, VoltageStep.SCREENING, When.WHOLE_BAD_METER_CLEAR, (_SCREEN, _SCREEN_BAD)),
        _point(_MOTOR, _I, joined, VoltageStep.JUDGING, When.WHOLE_BAD_SCREEN_CLEAR, (_CLEAR, bad)),
    )


def _cable(leads: tuple[str, ...], pairs: tuple[str, ...]) -> tuple[PlanPoint, ...]:
    bad = "The cable is at fault; look where it bends and at its plugs."
    core = ("Broken strands show end to end, best while the cable is flexed.", bad)
    return (
        *(_point(_CABLE, _I, f"{lead}-PE", VoltageStep.SCREENING, When.WHOLE_BAD, (_SCREEN, bad)) for lead in leads),
        *(
            _point(_CABLE, _I, f"{lead}-PE", VoltageStep.JUDGING, When.WHOLE_BAD_SCREEN_CLEAR, (_CLEAR, bad))
            for lead in leads
        ),
        *(_point(_CABLE, _I, pair, VoltageStep.SCREENING, When.WHOLE_BAD, (_CORES, bad)) for pair in pairs),
        *(_point(_CABLE, _C, f"{lead}-{lead}", VoltageStep.NONE, When.SERIES_BAD, core) for lead in leads),
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

# What to do before the first point of a part (house rules; the site's own procedure comes first).
PREPARE: dict[Section, tuple[str, ...]] = {
    _WHOLE: (
        "Lock out, support vertical axes, prove dead, and take the motor leads off the drive.",
        "Take encoder, brake and thermal sensor leads out of the test.",
    ),
    _MOTOR: (
        "Unplug the motor at its connector and block the shaft.",
        "Note the winding temperature.",
    ),
    _CABLE: ("Leave the far end free and insulated, and keep people away from both ends.",),
}
PREPARE_EXTRA: dict[MotorKind, tuple[str, ...]] = {
    MotorKind.DC_SERVO: ("Lift the brushes for the second reading and test the brush holders to frame apart.",),
    MotorKind.AC_SERVO: (),
    MotorKind.SPINDLE: ("Disconnect star and delta contactors; note whether six leads come out.",),
}
