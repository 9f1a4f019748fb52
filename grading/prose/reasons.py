"""Reasons in words: of a finding, of a step, of the bounds of a reading."""

from __future__ import annotations

from collections.abc import Callable

from grading.prose.wording import need
from grading.steps import Reason, ReasonKind
from grading.terms.quantity import unit
from grading.words import figure, limit_value, limit_words, number, sentence

_K = ReasonKind
_FIXED: dict[ReasonKind, str] = {
    _K.ROW_MAY_HOLD_FAULT: "a row that was left out may hold the reading that shows a fault",
    _K.NOT_ANSWERED: "a slip of the unit can turn a fault into a sound value, or the reverse",
    _K.CANNOT_BE_USED: "what the value should have said is not known",
    _K.INVALID_DISPLAY: "the display showed no valid value",
    _K.NO_DIGITS: "no digits were recorded",
    _K.NO_UNIT: "the value has no unit; ask for it",
    _K.NEGATIVE: "a resistance cannot be negative; read it again",
    _K.VOLTAGE_RISING: "the voltage was still rising",
    _K.HARDLY_ANY_CURRENT: (
        "hardly any current flowed although the voltage was not built: charging, misread or a weak tester"
    ),
    _K.VOLTAGE_ON_CIRCUIT: "there was voltage or current on a circuit that must be dead",
    _K.OVER_RANGE: "over range: a lower bound",
    _K.RANGE_END_UNKNOWN: "over range, but the end of the range is not on record: greater than how much?",
    _K.BELOW_RANGE: "below range: an upper bound",
    _K.RESOLUTION_UNKNOWN: (
        "below range; the meter's resolution is not on record, so a coarse one is assumed (practice)"
    ),
    _K.NOTHING_JUDGED: "nothing that was recorded can be judged",
    _K.FEW_VOLTS: "a few volts do not show what conducts under voltage",
    _K.HIGHER_VOLTAGE: "some faults only conduct at the higher voltage",
    _K.LINKS_OR_FAULT: "links left in and a fault between two phases read alike",
    _K.LEADS_JOINED: "between leads of one winding there is no insulation to test",
    _K.TIME_NOT_RECORDED: "the time on test was not recorded",
    _K.ONE_MINUTE_VALUE: "insulation resistance is a one-minute value",
    _K.NOT_STEADY: "the value was not steady",
    _K.LOW_BATTERY: "the tester's battery was low",
    _K.TREND_SHOWS: "whether the value is falling shows only over time",
    _K.MOTOR_OWN_LIMIT: "the motor alone must reach its own limit at 40 °C; this reading does not show that",
    _K.CABLE_WEARS: "a sound cable reads far higher; it wears on where it moves",
    _K.NEW_CABLES_HIGHER: "new cables read far higher",
    _K.MET_BY_LESS: "the value meets the limit by less than the uncertainty of the reading",
    _K.CANNOT_BUILD: "the insulation conducts so well that the tester cannot build its voltage",
    _K.NEAR_SIDE: "a bound on the near side of the limit proves nothing",
    _K.SURFACE_DIRT: "dirt or moisture on the surface",
    _K.INSULATION_ITSELF: "the insulation itself",
    _K.CLEANING_DID_NOT: "cleaning and drying did not bring it back",
    _K.BESIDE_LEAKS: "this circuit leaks to earth or to its neighbour; the winding is not judged by it",
    _K.BESIDE_OPEN: "its circuit is open",
    _K.FIELD_LOST: "a d.c. motor that loses its field can run away",
    _K.WITHIN_COUNTS: "the later value is lower by no more than the counts of the meter explain",
    _K.PAIRS_LEFT: "a fault of one phase shows in two of three pairs",
    _K.CAN_DESTROY: "a test voltage can destroy what is connected there",
    _K.AT_RISK: "the winding is serviceable only at risk",
    _K.NEEDS_TEMPERATURE: "the limit holds at 40 °C, and the correction needs the winding's own temperature",
    _K.BOUND_BELOW: "the bound is below the limit",
    _K.NOT_CERTAIN: "reading and temperature together are not certain enough",
    _K.WATER_FILM: "a film of water lowers the reading",
    _K.ABOVE_STANDARD: "its voltage is above what its standard allows",
    _K.CAN_HARM: "a test voltage above what the winding was proved with can harm it",
    _K.NOT_ASSURED: "its accuracy was not assured on the day of the test",
    _K.BRUSHED_ARMATURE: "not used to judge a brushed armature: leakage over commutator and brush dust swamps it",
    _K.NO_TABLE: "kept for comparison; there is no table for these times",
    _K.LOW_ABSORPTION: "low absorption indicates moisture or dirt",
    _K.CREEPING_BREAKDOWN: "moisture or creeping breakdown",
    _K.FALLS_UNDER_VOLTAGE: "the value falls under voltage",
    _K.DUST_OR_CRACK: "dust, moisture or a crack that conducts above some voltage",
    _K.DRYING_OR_ABSORPTION: "drying or absorption, no weakness",
    _K.SURFACE_LEAKAGE: "voltage-dependent leakage often sits on surfaces",
    _K.SHORT_OR_WRONG_LEAD: "so low a value is a dead short to frame, or the wrong lead",
    _K.PATH_TO_EARTH: "a few volts already find a path to earth",
    _K.PATH_FOUND: "there is a path that a few volts already find",
    _K.BRUSH_DUST: "carbon dust from the brushes, a pinhole or tracking",
    _K.DUST_OR_TRACKING: "dust, a pinhole or tracking",
    _K.DUST_BRIDGE: "a bridge of dust or damp conducts above some voltage only",
    _K.FINGERS_OR_MOISTURE: (
        "fingers on the probes, a meter that was still settling, an auxiliary lead left on, or moisture that dried or "
        "polarised"
    ),
    _K.ONE_IS_WRONG: "one of the two is wrong, or the part changed in between",
    _K.OPENS_WITH_VOLTAGE: "the path opens up with voltage",
    _K.ELECTROLYTIC: "moisture (electrolytic leakage)",
    _K.WET_PATHS: "wet paths act like a battery and read unequal",
    _K.CABLE_OR_WINDING_OPEN: "the circuit through the cable or winding is open",
    _K.WINDING_OPEN: "the circuit through the winding is open",
    _K.ABOVE_RANGE: "the value is above the range that was used",
    _K.LESS_THAN_COPPER: (
        "the copper of the cable alone resists more: the motor was read without its cable, cores touch, or length or "
        "cross section is wrong"
    ),
    _K.LOOK_ALIKE: "a low-ohm winding and a shorted one look alike to this meter",
    _K.CORE_BROKEN: "a core is broken",
    _K.ODD_PHASE: "the odd phase can be a winding, a joint or broken strands",
    _K.SHORTED_TURNS: "unequal phases of the motor alone indicate shorted turns or a bad joint inside",
    _K.BRUSH_CONTACT: "brush contact is part of every armature reading",
    _K.HIGH_OR_LOW: "too high indicates joints or brushes, too low shorted turns, and both a wrong temperature",
    _K.SERIES_RESISTANCE: "something in series with the winding has resistance",
    _K.NOT_LOCATED: "the readings so far do not locate the fault",
    _K.LEAK_TOGETHER: "together the parts leak more than apart",
    _K.SOMETHING_BETWEEN: (
        "drying, another axis, another voltage or a position-dependent fault lies between the readings"
    ),
    _K.WHOLE_ABOVE_PART: (
        "motor and cable together cannot read better than one of them alone; one reading is wrong or the part changed"
    ),
    _K.SPARE_CONVICTS: "a spare is on hand, and a good value with it shows that the old cable is at fault",
    _K.CABLE_MOVES: (
        "a cable that moves fails more often than the motor it feeds, and it can be tested from the cabinet once the "
        "plug is off"
    ),
    _K.CABLE_UNKNOWN: "the cable is the part still unknown, and it can be tested from the cabinet once the plug is off",
    _K.CORES_LEFT: "not every core of the cable was tested, and a good core says nothing about the others",
    _K.WINDING_SHOWN: "it shows whether the winding is at fault",
    _K.CONNECTORS_IN_CIRCUIT: "connectors and terminal boxes are in the circuit only then",
    _K.CABLE_FAILED: "the cable has failed",
    _K.NEIGHBOURS_WEAR: "the cables beside it have bent as often and lain in the same coolant",
    _K.DUST_AND_COOLANT: "dust, coolant and moisture account for many low readings",
    _K.WINDING_FAILED: "the winding itself has then failed",
    _K.GOOD_APART: "motor and cable are good by themselves and bad together",
    _K.MOTOR_OPEN: "the circuit through the motor is open",
    _K.CABLE_OPEN: "the circuit through the cable is open",
    _K.SERIES_OPEN: "the circuit is open from the cabinet; cable and motor are in series",
    _K.FALLEN: "the value has fallen since the visit before",
    _K.EARLY_END: "the early end of the band is the planning date",
}


def _accuracy(reason: Reason) -> str:
    return f"±({need(reason.percent):f} % + {need(reason.counts):f} counts)"


def _not_comparable(reason: Reason) -> str:
    winding, reach = f"{need(reason.winding_c)} °C", f"{need(reason.lowest)} to {need(reason.highest)} °C"
    return f"the winding is at {winding}; the correction to 40 °C holds from {reach}, so the value is not comparable"


def _differ(reason: Reason) -> str:
    factor = number(need(reason.factor), 2)
    return f"the two corrections differ by a factor of {factor} at {need(reason.winding_c):f} °C"


def _full_load(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"a tester of {limit.source} holds its voltage down to {limit_value(limit)} per volt"


def _error(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"±{limit_value(limit)}, the most that {limit.source} allows, since no accuracy is on record"


def _reaches(reason: Reason) -> str:
    return f"the error of this reading ({reason_text(need(reason.because))}) reaches across the limit"


def _sound(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"below {limit_value(limit)}, but no fault by itself at this resistance ({limit.cited()})"


def _meaningless(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"not meaningful above {limit_value(limit)} ({limit.cited()})"


def _no_class(reason: Reason) -> str:
    usual, lower = limit_value(need(reason.limit)), figure(need(reason.factor))
    return f"thermal class not recorded; {usual} is asked of class 130 and above, {lower} of class 105"


def _little(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"not graded above {limit_value(limit)}, where little is absorbed ({limit.cited()})"


def _compliance(reason: Reason) -> str:
    limit = need(reason.limit)
    held = f"{limit_value(limit)} per volt"
    return (
        f"the voltage was not built, and it is not on record that this tester holds it down to {held} ({limit.source}) "
        "or how much current it drives"
    )


def _one_phase(reason: Reason) -> str:
    limit = need(reason.limit)
    return f"one phase by itself reads up to {limit_value(limit)} times as high as all joined ({limit.cited()})"


_WRITTEN: dict[ReasonKind, Callable[[Reason], str]] = {
    _K.WRONG_UNIT: lambda reason: f"{unit(need(reason.unit)).symbol} is no unit of resistance",
    _K.FULL_VOLTAGE_LOAD: _full_load,
    _K.COMPLIANCE_NOT_STATED: _compliance,
    _K.ONE_PHASE_ONLY: _one_phase,
    _K.DATA_SHEET: lambda reason: f"{_accuracy(reason)} by the data sheet of {need(reason.instrument)}",
    _K.STANDARD_ERROR: _error,
    _K.ASSUMED_ERROR: lambda reason: f"{_accuracy(reason)} assumed, since no accuracy is on record (practice)",
    _K.TIME_TOO_SHORT: lambda reason: f"the time on test was shorter than {limit_value(need(reason.limit))}",
    _K.BELOW_LIMIT: lambda reason: f"the insulation to earth is below {limit_value(need(reason.limit))}",
    _K.ERROR_REACHES: _reaches,
    _K.NOT_COMPARABLE: _not_comparable,
    _K.SYSTEMS_DIFFER: _differ,
    _K.INDEX_MEANINGLESS: _meaningless,
    _K.CLASS_NOT_RECORDED: _no_class,
    _K.INDEX_MEETS_LIMIT: lambda reason: limit_words(need(reason.limit)),
    _K.SOUND_RESISTANCE: _sound,
    _K.HARDLY_ABSORBED: _little,
    _K.COUNT_TOO_COARSE: lambda reason: (
        f"one count of this meter is {number(need(reason.percent), 2)} % of the winding"
    ),
}


def reason_text(reason: Reason) -> str:
    """Write a reason as part of a sentence."""
    writer = _WRITTEN.get(reason.kind)
    return _FIXED[reason.kind] if writer is None else writer(reason)


def reason_sentence(reason: Reason) -> str:
    """Write a reason as one sentence, and what bears on the step besides."""
    text = sentence(reason_text(reason))
    if reason.hard_to_reach:
        text += " The plug is hard to reach: have everything ready to test both parts while it is open."
    return f"{text} Coolant reaches it." if reason.coolant else text
