"""Where the fault is: motor, cable, both, or what joins them.

To earth, motor and cable (and connectors) lie in parallel, so the whole reads at most as high as its lowest part: a
good whole clears both. Lead to lead they lie in series, and the logic is the reverse. The decision table is a rule of
this program built on those two laws.
"""

from __future__ import annotations

from enum import StrEnum

from grading.terms.record import record


class Fault(StrEnum):
    """Where isolation puts the fault."""

    MOTOR = "motor"
    CABLE = "cable"
    BOTH = "both"
    CONNECTOR_OR_MOISTURE = "connector or moisture"
    BESIDE = "auxiliary circuit"  # brake, sensor, tacho or fan, and nothing that the drive feeds
    NEITHER = "neither"
    CONTRADICTORY = "contradictory"
    UNDETERMINED = "undetermined"  # not enough measured yet


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


class Outcome(StrEnum):
    """What the decision table concludes."""

    MOTOR_FAILED = "motor_failed"
    CABLE_FAILED = "cable_failed"
    BOTH_FAILED = "both_failed"
    APART_GOOD = "apart_good"  # good apart and bad together
    MOTOR_AT_LEAST = "motor_at_least"  # the cable is not known
    CABLE_AT_LEAST = "cable_at_least"  # the motor is not known
    NOT_FOUND = "not_found"
    WHOLE_CLEARS = "whole_clears"
    WHOLE_BAD = "whole_bad"  # motor or cable is not yet known
    MOTOR_GOOD = "motor_good"  # so cable or connector
    CABLE_GOOD = "cable_good"  # so motor or connector
    PARTS_GOOD = "parts_good"  # together not measured
    MOTOR_ONLY = "motor_only"  # good, and nothing is known of the cable
    CABLE_ONLY = "cable_only"  # good, and nothing is known of the motor
    CONTRADICTION = "contradiction"  # the whole better than one of its parts
    NOTHING_MEASURED = "nothing_measured"
    CANNOT_TELL = "cannot_tell"  # measured, but not conclusively


@record
class Location:
    """Outcome of the decision table.

    Attributes:
        fault: Where the fault is.
        certain: False for "at least" and "or connector" outcomes that one more measurement would settle.
        measure_next: The part whose measurement settles most.
        outcome: What the table concludes.
        unclear: A part was measured, but not conclusively; `measure_next` is to be measured again.
        cores_left: The cable is not known because cores were left out, not because none was tested.
    """

    fault: Fault
    certain: bool
    measure_next: Part
    outcome: Outcome
    unclear: bool = False
    cores_left: bool = False


# Whole, motor alone, cable alone: low (-), ok (+), unmeasured (.); program's rule on the parallel law.
_ROWS: tuple[tuple[str, Fault, bool, Part, Outcome], ...] = (
    ("-+-", Fault.CABLE, True, Part.NOTHING, Outcome.CABLE_FAILED),
    ("--+", Fault.MOTOR, True, Part.NOTHING, Outcome.MOTOR_FAILED),
    ("---", Fault.BOTH, True, Part.NOTHING, Outcome.BOTH_FAILED),
    ("-++", Fault.CONNECTOR_OR_MOISTURE, True, Part.CONNECTOR, Outcome.APART_GOOD),
    ("+..", Fault.NEITHER, True, Part.NOTHING, Outcome.WHOLE_CLEARS),
    ("++.", Fault.NEITHER, True, Part.NOTHING, Outcome.NOT_FOUND),
    ("+.+", Fault.NEITHER, True, Part.NOTHING, Outcome.NOT_FOUND),
    ("+++", Fault.NEITHER, True, Part.NOTHING, Outcome.NOT_FOUND),
    ("-..", Fault.UNDETERMINED, False, Part.CABLE, Outcome.WHOLE_BAD),
    ("--.", Fault.MOTOR, False, Part.CABLE, Outcome.MOTOR_AT_LEAST),
    ("-.-", Fault.CABLE, False, Part.MOTOR, Outcome.CABLE_AT_LEAST),
    ("-+.", Fault.UNDETERMINED, False, Part.CABLE, Outcome.MOTOR_GOOD),
    ("-.+", Fault.UNDETERMINED, False, Part.MOTOR, Outcome.CABLE_GOOD),
    (".--", Fault.BOTH, True, Part.NOTHING, Outcome.BOTH_FAILED),
    (".-+", Fault.MOTOR, True, Part.NOTHING, Outcome.MOTOR_FAILED),
    (".+-", Fault.CABLE, True, Part.NOTHING, Outcome.CABLE_FAILED),
    (".-.", Fault.MOTOR, False, Part.CABLE, Outcome.MOTOR_AT_LEAST),
    ("..-", Fault.CABLE, False, Part.MOTOR, Outcome.CABLE_AT_LEAST),
    (".++", Fault.NEITHER, False, Part.WHOLE, Outcome.PARTS_GOOD),
    (".+.", Fault.UNDETERMINED, False, Part.CABLE, Outcome.MOTOR_ONLY),
    ("..+", Fault.UNDETERMINED, False, Part.MOTOR, Outcome.CABLE_ONLY),
)
_SIGNS = {"-": State.LOW, "+": State.OK, ".": State.UNMEASURED}
_TABLE: dict[tuple[State, ...], Location] = {
    tuple(_SIGNS[sign] for sign in signs): Location(fault, certain, part, outcome)
    for signs, fault, certain, part, outcome in _ROWS
}

_CONTRADICTION = Location(Fault.CONTRADICTORY, False, Part.WHOLE, Outcome.CONTRADICTION)
NOTHING_MEASURED = Location(Fault.UNDETERMINED, False, Part.WHOLE, Outcome.NOTHING_MEASURED)


def locate(whole: State, motor: State, cable: State) -> Location:
    """Locate the fault, from how the whole and its parts stand.

    Args:
        whole: From the cabinet through the cable.
        motor: Motor alone.
        cable: Cable alone.

    Example (TV-G17: whole low, motor good, cable low):
        >>> locate(State.LOW, State.OK, State.LOW).fault
        <Fault.CABLE: 'cable'>
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
    """Locate with a part that reads unclear: it counts as not measured, and is to be measured again."""
    again = Part.WHOLE if whole is State.UNCLEAR else Part.MOTOR if motor is State.UNCLEAR else Part.CABLE
    blank = [State.UNMEASURED if s is State.UNCLEAR else s for s in (whole, motor, cable)]
    base = _TABLE.get((blank[0], blank[1], blank[2]), NOTHING_MEASURED)
    fault = Fault.UNDETERMINED if base.fault in (Fault.NEITHER, Fault.CONNECTOR_OR_MOISTURE) else base.fault
    kept = fault is base.fault and base is not NOTHING_MEASURED
    return Location(fault, False, again, base.outcome if kept else Outcome.CANNOT_TELL, unclear=True)


def locate_series(whole_open: bool | None, motor_open: bool | None, core_open: bool) -> Fault:
    """Locate an open circuit, lead to lead (series law).

    Args:
        whole_open: Open from the cabinet; None where not measured.
        motor_open: Open at the motor; None where not measured.
        core_open: A cable core measured end to end is open.

    Example (series law):
        >>> locate_series(whole_open=True, motor_open=False, core_open=False)
        <Fault.CABLE: 'cable'>
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
    """Merge the locations by both laws: a part that either names is at fault.

    Example (both laws):
        >>> merge(Fault.MOTOR, Fault.CABLE)
        <Fault.BOTH: 'both'>
    """
    if series in (Fault.NEITHER, Fault.UNDETERMINED) or insulation is series:
        return series if insulation is Fault.NEITHER and series is Fault.UNDETERMINED else insulation
    if insulation in (Fault.NEITHER, Fault.UNDETERMINED, Fault.CONNECTOR_OR_MOISTURE):
        return series
    return insulation if insulation is Fault.CONTRADICTORY else Fault.BOTH
