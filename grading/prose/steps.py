"""Steps in words: what to do, why, and what would settle the question."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal

from grading.limit import Limit
from grading.prose.reasons import reason_sentence
from grading.steps import Action, NextStep, Settles, Settling, StepKind
from grading.words import limit_value, number

__all__ = ["action_text", "reason_sentence", "settles_text", "step_text"]

_A = StepKind
_ACTIONS: dict[StepKind, str] = {
    _A.SETTLE_ROWS: "Correct each row that was left out, or delete it if it is no reading, and grade again.",
    _A.ANSWER_QUESTIONS: (
        "Look up each value that is asked about where it came from; correct it, or note that it was checked."
    ),
    _A.CORRECT_ENTRIES: "Look up each value that cannot be where it came from, correct it, and grade again.",
    _A.ISOLATE_AND_DISCHARGE: (
        "Stop: isolate and discharge the axis, prove it dead again by the site's own procedure, and only then repeat "
        "the insulation tests."
    ),
    _A.PROVE_DEAD: "Prove the circuit dead again and record the value with its unit before any other test.",
    _A.KEEP_OFF: "Do not re-energise from the drive; find the part at fault.",
    _A.KEEP_OFF_LOW: "Do not re-energise from the drive, do not raise the test voltage; find the part at fault.",
    _A.SPLIT_LOW: ("Do not apply a high test voltage; start insulation tests at the lowest step and split the axis."),
    _A.CHECK_CIRCUIT: "Check plug and terminals, then measure at the motor.",
    _A.MEASURE_AXIS: "Measure the axis from the cabinet: lead to lead, then each lead to earth.",
    _A.TEST_TO_EARTH: (
        "Test from the cabinet to earth, first at {first_voltage} V, then at {voltage} V for {seconds} s."
    ),
    _A.TEST_AGAIN_AT: "Test again at {voltage} V for {seconds} s, if the maker allows it.",
    _A.TEST_JOINED_LEADS: "Test from the joined leads to earth.",
    _A.TAKE_LINKS_OUT: "Take the links out of the terminal box so that all six leads are free, and test again.",
    _A.TEST_PHASES_JOINED: "Join all phases and test them together to earth.",
    _A.SPLIT_BESIDE: (
        "Unplug this circuit at both ends, test its cable and its device apart, and dry or replace what leaks."
    ),
    _A.CHECK_BESIDE: "Check plug, cable and device of this circuit end to end.",
    _A.HOLD_VOLTAGE: "Repeat and hold the test voltage for {seconds} s.",
    _A.RETEST_LATER: "Retest in {earliest} to {latest} months under the same conditions.",
    _A.MEASURE_MOTOR_WITH_TEMPERATURE: "Measure the motor alone, with its winding temperature.",
    _A.PLAN_CABLE: "Plan the replacement of the cable, and inspect it where it bends and at its plugs.",
    _A.INSPECT_CABLE: "Inspect the cable where it bends and at its plugs; retest.",
    _A.CLEAN_MOTOR: "Clean and dry the motor, retest, and plan its repair.",
    _A.PLAN_PART: "Plan the repair or replacement of the part.",
    _A.TAKE_AUXILIARY_OUT: (
        "Take feedback, brake and sensor leads out of the test, and check the device on this lead."
    ),
    _A.READ_AGAIN: "Read the point again.",
    _A.READ_WITH_CONDITIONS: "Read the point again: value, unit, test voltage built and time.",
    _A.REPEAT_STEADY: "Repeat the reading, steady for a full minute, with a good battery.",
    _A.MORE_ACCURATE_OR_EARLY: "Repeat with a more accurate instrument, or plan an early retest.",
    _A.BETTER_ACCURACY: "Repeat with an instrument of better accuracy on the same point.",
    _A.RANGE_THAT_SHOWS: "Read the value again on a range that shows it, or note the end of the range.",
    _A.NOTE_RANGE_END: "Note the end of the tester's range, or use a range that shows the value.",
    _A.HIGHER_RANGE: "Measure again on a higher range.",
    _A.FOUR_WIRE: "Measure again with a four-wire milliohmmeter.",
    _A.MEASURE_PART: "Measure the part named again.",
    _A.REACH_TEMPERATURE: "Let the motor come to between {earliest} and {latest} °C and test again.",
    _A.MEASURE_WINDING_TEMPERATURE: "Measure the winding temperature and enter it.",
    _A.FIND_INSULATION_SYSTEM: "Find out the insulation system (nameplate, maker) or test at 40 °C.",
    _A.ACCURATE_OR_NEAR_40C: "Repeat with a more accurate instrument, or with the winding near 40 °C.",
    _A.WARM_MOTOR: "Warm the motor to well above the dew point and test again.",
    _A.CALIBRATE_TESTER: "Send the tester to calibration.",
    _A.DO_NOT_EXCEED: "Do not exceed {voltage} V on this motor; retest it at that voltage.",
    _A.DO_NOT_EXCEED_CABLE: "Do not exceed {voltage} V on this cable; retest it at that voltage.",
    _A.USE_CALIBRATED: (
        "Repeat with an instrument in calibration, or have this one calibrated and confirm the values."
    ),
    _A.REPEAT_TEN_MINUTES: "Clean and dry, then repeat the ten-minute test.",
    _A.DO_NOT_RAISE: "Do not raise the test voltage; clean, dry and retest.",
    _A.REPEAT_STEPS: "Clean and dry, then repeat both steps.",
    _A.CHECK_LEAD: "Check that the lead is not the earth or the brake lead; then open the circuit at the motor.",
    _A.LOWEST_VOLTAGE: "Start insulation tests at the lowest voltage.",
    _A.VACUUM_AND_RETEST: (
        "Vacuum the brush dust out, wipe the brush holders, dry, and retest; test brush holder to frame apart."
    ),
    _A.CLEAN_PART: "Clean and dry the part, then retest.",
    _A.REPEAT_BOTH_REVERSED: "Repeat both; take the ohmmeter reading with its leads either way round.",
    _A.CLEAN_REPEAT_BOTH: "Clean and dry, then repeat both.",
    _A.DRY_PART: "Dry the part and retest.",
    _A.MEASURE_CORE: "Measure the core again.",
    _A.REPLACE_CABLE_OR_PLUG: "Replace the cable or fix the plug.",
    _A.MOTOR_AND_CORES: "Measure the motor alone, and the cable cores end to end while flexing them.",
    _A.FOUR_WIRE_THEN_PLAN: "Repeat with a four-wire milliohmmeter, then plan the repair of the motor.",
    _A.MEASURE_PAIRS: "Measure the pairs of leads that have no value.",
    _A.CLEAN_COMMUTATOR: (
        "Clean commutator and brushes, then repeat over at least {positions} positions with the shaft at rest."
    ),
    _A.CHECK_COMPENSATION: "Check lead compensation and winding temperature, then repeat with a four-wire meter.",
    _A.INSPECT_JOINTS: (
        "Inspect plugs, crimps and terminals, and measure each core end to end while flexing the cable."
    ),
    _A.RETEST_JOINED_WHILE_FLEXING: (
        "Open, clean and dry the connector and terminal box, reconnect, and retest while flexing."
    ),
    _A.REPEAT_THREE: "Repeat all three at one voltage, time and position.",
    _A.REPEAT_WHOLE_AND_LOW: (
        "Repeat motor and cable together, and the low part alone, at one voltage and time; check that it is the same "
        "axis."
    ),
    _A.TEST_CABLE_ALONE: (
        "Unplug the motor and test the cable alone from the cabinet: each core to earth and to the others."
    ),
    _A.TEST_OTHER_CORES: (
        "Unplug the motor and test the cable's other cores from the cabinet: each to earth and to the others."
    ),
    _A.TEST_MOTOR_ALONE: "Unplug the motor and test the motor alone at its connector, at the same voltage and time.",
    _A.TEST_WHOLE: "Reconnect and test motor and cable together from the cabinet, at the same voltage and time.",
    _A.SPARE_OVER_FLOOR: "Or lay the spare cable over the floor, connect it, and test motor and cable together again.",
    _A.REPLACE_CABLE_WITH_SPARE: "Replace the cable before re-energising. The spare on hand fits now.",
    _A.REPLACE_CABLE_ORDER: "Replace the cable before re-energising. Order the cable now.",
    _A.PHOTOGRAPH_WEAR: "Photograph the wear point, and check cables in the same carrier.",
    _A.VACUUM_MOTOR: "Vacuum out brush dust, clean, dry and retest the motor.",
    _A.CLEAN_DRY_MOTOR: "Clean, dry and retest the motor.",
    _A.IF_LOW_FIT_SPARE: "If it stays low, fit the spare motor.",
    _A.IF_LOW_REPAIR: "If it stays low, send it to be repaired or order another.",
    _A.OPEN_CONNECTOR: (
        "Open, clean and dry the connector and terminal box, reconnect, and retest motor and cable together while "
        "flexing."
    ),
    _A.OPEN_TERMINAL_BOX: (
        "Open the motor's terminal box and check terminals and joints; repair or replace the motor if the winding "
        "itself is open."
    ),
    _A.OPEN_TERMINAL_BOX_BRUSHES: (
        "Open the motor's terminal box and check terminals, brushes and joints; repair or replace the motor if the "
        "winding itself is open."
    ),
    _A.CHECK_PINS: (
        "Check pins and crimps at both plugs, then measure each core end to end while flexing; replace the cable if a "
        "core is broken."
    ),
    _A.MEASURE_MOTOR_PAIRS: "Unplug the motor and measure the motor alone lead to lead (all three pairs).",
    _A.MEASURE_MOTOR_ARMATURE: "Unplug the motor and measure the motor alone lead to lead (A1 to A2).",
    _A.STOP_AND_ISOLATE: "Stop and isolate: find the part that has changed.",
    _A.CLEAN_NOW: "Clean, dry and retest now; plan the repair.",
    _A.INVESTIGATE: "Investigate: inspect, clean, and retest at the same temperature.",
    _A.PLAN_REPAIR: "Plan the repair within {years} years, and retest after {retest_years} years.",
}
_S = Settling
_SETTLES: dict[Settling, str] = {
    _S.STEADY_VALUE: "A steady value of at least {limit} at {voltage} V settles it.",
    _S.VALUE_AT_TIME: "A value read at {seconds} s settles it.",
    _S.WHOLE_SPAN: "A reading that lies, with its uncertainty, above or below {limit} settles it.",
    _S.ANY_VALUE: "Any value with digits settles it, or “more than” a value beyond {limit}.",
    _S.LIMIT_AFTER_CLEANING: "At least {limit} at 40 °C after cleaning and drying settles it.",
    _S.RISES_WHEN_WARM: "A value that rises by a multiple once warm indicates surface moisture.",
    _S.INDEX_RISES: "An index that rises above the limit after drying settles it.",
    _S.HOLDS_OR_RISES: "A value that holds or rises during the minute settles it.",
    _S.STEPS_EQUAL: "Both steps equal within {limit} after cleaning confirm surface dirt or moisture.",
    _S.SAME_VOLTAGE_AFTER_CLEANING: (
        "At least the limit at the same voltage after cleaning confirms dirt; no change means the insulation itself."
    ),
    _S.UNEQUAL_REVERSED: "Unequal values with the leads reversed indicate wet (electrolytic) leakage.",
    _S.AGREEMENT: "Agreement after cleaning confirms surface dirt.",
    _S.EQUAL_BOTH_WAYS: "Equal values both ways round after drying confirm moisture.",
    _S.MILLIOHMS: "The value in milliohms, compared with the nameplate or a like axis, settles it.",
    _S.THREE_DECIMALS: "Three values with at least three decimals settle it.",
    _S.EQUAL_AT_MOTOR: "Equal phases at the motor put the fault in the cable or its plugs.",
    _S.SAME_ODD_PHASE: "The same odd phase a second time confirms it.",
    _S.SAME_POSITION: "The same position off again indicates the armature, not the brushes.",
    _S.CHANGES_WHEN_MOVED: "The core or joint whose value changes when moved is the bad one.",
    _S.WHOLE_AS_CALCULATED: "It is settled when motor and cable together read as calculated from the two alone.",
    _S.PARALLEL_LAW: "It is settled when the three readings fit one another (motor and cable in parallel).",
    _S.GOOD_CABLE: "If the cable is good, motor or connector is at fault.",
    _S.GOOD_MOTOR: "If the motor is good, cable or connector is at fault.",
    _S.WHOLE_ABOVE_LIMIT: "Then test motor and cable together again: the value must be above its limit.",
    _S.RISE_CONFIRMS: "A value that rises above the limit confirms dirt or moisture.",
    _S.WHOLE_AS_GOOD: (
        "Motor and cable together as good as the two alone confirms it; low only in one position points at the bend of "
        "the cable."
    ),
    _S.CLOSED_AFTER_JOINT: "A closed circuit once the joint is made good puts the fault there.",
    _S.CLOSED_AT_MOTOR: "Closed at the motor puts the break in the cable or its plugs.",
    _S.SAME_VALUE_AGAIN: "The same value again under the same temperature, voltage and time confirms it.",
}
_COMPUTED = frozenset({"years", "retest_years"})
"""Figures that were computed and are shown with three digits; all others are shown as they stand in the limits."""


def action_text(action: Action) -> str:
    """Write what to do, as one or two sentences in the imperative."""
    return _ACTIONS[action.kind].format_map(_figures(action))


def settles_text(settles: Settles | None) -> str:
    """Write what would settle the question; "" where nothing is at issue."""
    return "" if settles is None else _SETTLES[settles.kind].format_map(_figures(settles))


def step_text(step: NextStep) -> str:
    """Write a whole step: what to do, why, and what would settle the question."""
    parts = (action_text(step.action), reason_sentence(step.reason), settles_text(step.settles))
    return " ".join(part for part in parts if part)


def _figures(said: Action | Settles) -> dict[str, str]:
    """Give the figures of an action or of what settles it, as they are written."""
    shown: dict[str, str] = {}
    for field in fields(said):
        value = getattr(said, field.name)
        if isinstance(value, Limit):
            shown[field.name] = limit_value(value)
        elif isinstance(value, Decimal):
            shown[field.name] = number(value) if field.name in _COMPUTED else f"{value:f}"
    return shown
