"""Where the fault is: motor, cable, both, or what joins them.

To earth, motor and cable (and connectors) lie in parallel, so the whole reads at most as high as its lowest part: a
good whole clears both. Lead to lead they lie in series, and the logic is the reverse. The decision table is a house
rule built on those two laws.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from grading.finding import Fault


class State(StrEnum):
    """How one part stands against its limit."""

    LOW = "low"
    OK = "ok"
    UNCLEAR = "unclear"  # measured, but the reading cannot tell
    UNMEASURED = "unmeasured"


class Part(StrEnum):
    """What to measure next."""

    WHOLE = "whole"
    MOTOR = "motor"
    CABLE = "cable"
    CONNECTOR = "connector"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Location:
    """Outcome of the decision table.

    Attributes:
        fault: Where the fault is.
        certain: False for "at least" and "or connector" outcomes that one more measurement would settle.
        measure_next: The part whose measurement settles most.
        words: The outcome in one sentence, without axis and numbers.
    """

    fault: Fault
    certain: bool
    measure_next: Part
    words: str


_MOTOR_FAILED = "the motor's winding-to-frame insulation has failed"
_CABLE_FAILED = "the cable is the failed part"
_BOTH_FAILED = "motor and cable have both failed; look for a common cause such as coolant"
_APART_GOOD = (
    "the parts are good apart and bad together: connector, terminal box, moisture, or a fault that depends on position"
)
_MOTOR_AT_LEAST = "the motor at least has failed; the cable is not measured"
_CABLE_AT_LEAST = "the cable at least has failed; the motor is not measured"
_NOT_FOUND = "nothing was found at this position"
_WHOLE_CLEARS = "a good whole clears motor and cable at this position"
WHOLE_BAD = "the whole is bad; motor or cable is not yet known"
_MOTOR_GOOD = "the motor is good, so it is the cable or the connector"
_CABLE_GOOD = "the cable is good, so it is the motor or the connector"
_PARTS_GOOD = "both parts are good; together they were not measured"
_MOTOR_ONLY = "the motor is good; the cable is not measured"
_CABLE_ONLY = "the cable is good; the motor is not measured"

# Whole, motor alone, cable alone: low (-), ok (+), unmeasured (.); house rule on the parallel law.
_ROWS: tuple[tuple[str, Fault, bool, Part, str], ...] = (
    ("-+-", Fault.CABLE, True, Part.NOTHING, _CABLE_FAILED),
    ("--+", Fault.MOTOR, True, Part.NOTHING, _MOTOR_FAILED),
    ("---", Fault.BOTH, True, Part.NOTHING, _BOTH_FAILED),
    ("-++", Fault.CONNECTOR_OR_MOISTURE, True, Part.CONNECTOR, _APART_GOOD),
    ("+..", Fault.NEITHER, True, Part.NOTHING, _WHOLE_CLEARS),
    ("++.", Fault.NEITHER, True, Part.NOTHING, _NOT_FOUND),
    ("+.+", Fault.NEITHER, True, Part.NOTHING, _NOT_FOUND),
    ("+++", Fault.NEITHER, True, Part.NOTHING, _NOT_FOUND),
    ("-..", Fault.UNDETERMINED, False, Part.CABLE, WHOLE_BAD),
    ("--.", Fault.MOTOR, False, Part.CABLE, _MOTOR_AT_LEAST),
    ("-.-", Fault.CABLE, False, Part.MOTOR, _CABLE_AT_LEAST),
    ("-+.", Fault.UNDETERMINED, False, Part.CABLE, _MOTOR_GOOD),
    ("-.+", Fault.UNDETERMINED, False, Part.MOTOR, _CABLE_GOOD),
    (".--", Fault.BOTH, True, Part.NOTHING, _BOTH_FAILED),
    (".-+", Fault.MOTOR, True, Part.NOTHING, _MOTOR_FAILED),
    (".+-", Fault.CABLE, True, Part.NOTHING, _CABLE_FAILED),
    (".-.", Fault.MOTOR, False, Part.CABLE, _MOTOR_AT_LEAST),
    ("..-", Fault.CABLE, False, Part.MOTOR, _CABLE_AT_LEAST),
    (".++", Fault.NEITHER, False, Part.WHOLE, _PARTS_GOOD),
    (".+.", Fault.UNDETERMINED, False, Part.CABLE, _MOTOR_ONLY),
    ("..+", Fault.UNDETERMINED, False, Part.MOTOR, _CABLE_ONLY),
)
_SIGNS = {"-": State.LOW, "+": State.OK, ".": State.UNMEASURED}
_TABLE: dict[tuple[State, ...], Location] = {
    tuple(_SIGNS[sign] for sign in signs): Location(fault, certain, part, words)
    for signs, fault, certain, part, words in _ROWS
}

_CONTRADICTION = Location(
    Fault.CONTRADICTORY, False, Part.WHOLE, "the whole reads better than one of its parts, which cannot be"
)
NOTHING_MEASURED = Location(Fault.UNDETERMINED, False, Part.WHOLE, "no insulation reading can locate a fault")


def locate(whole: State, motor: State, cable: State) -> Location:
    """Where the fault lies, from how the whole and its parts stand.

    Args:
        whole: From the cabinet through the cable.
        motor: Motor alone.
        cable: Cable alone.
    """
    if whole is State.OK and State.LOW in (motor, cable):
        return _CONTRADICTION
    known = _TABLE.get((whole, motor, cable))
    if known is not None:
        return known
    if (whole, motor, cable) == (State.UNMEASURED,) * 3:
        return NOTHING_MEASURED
    return _with_unclear(whole, motor, cable)


def _with_unclear(whole: State, motor: State, cable: State) -> Location:
    """A part that reads unclear counts as not measured, and is to be measured again."""
    again = Part.WHOLE if whole is State.UNCLEAR else Part.MOTOR if motor is State.UNCLEAR else Part.CABLE
    blank = [State.UNMEASURED if s is State.UNCLEAR else s for s in (whole, motor, cable)]
    base = _TABLE.get((blank[0], blank[1], blank[2]), NOTHING_MEASURED)
    fault = Fault.UNDETERMINED if base.fault in (Fault.NEITHER, Fault.CONNECTOR_OR_MOISTURE) else base.fault
    words = base.words if fault is base.fault and base is not NOTHING_MEASURED else "the readings cannot tell yet"
    # It was measured, only not conclusively.
    words = words.replace("is not measured", "cannot be judged by its reading")
    return Location(fault, False, again, f"{words}; measure the {again.value} again")


def locate_series(whole_open: bool | None, motor_open: bool | None, core_open: bool) -> Fault:
    """Where an open circuit lies, lead to lead (series law).

    Args:
        whole_open: Open from the cabinet; None where not measured.
        motor_open: Open at the motor; None where not measured.
        core_open: A cable core measured end to end is open.
    """
    if core_open and motor_open:
        return Fault.BOTH
    if core_open:
        return Fault.CABLE
    if motor_open:
        return Fault.MOTOR
    if not whole_open:
        return Fault.NEITHER
    return Fault.CABLE if motor_open is False else Fault.UNDETERMINED


def merge(insulation: Fault, series: Fault) -> Fault:
    """One location from both laws: a part that either names is at fault."""
    if series in (Fault.NEITHER, Fault.UNDETERMINED) or insulation is series:
        return series if insulation is Fault.NEITHER and series is Fault.UNDETERMINED else insulation
    if insulation in (Fault.NEITHER, Fault.UNDETERMINED, Fault.CONNECTOR_OR_MOISTURE):
        return series
    return insulation if insulation is Fault.CONTRADICTORY else Fault.BOTH
