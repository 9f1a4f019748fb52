"""What to do next, as codes: actions, reasons and what settles the question (`grading.prose.steps` writes them)."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from functools import cache

from grading.limit import Limit
from grading.terms.record import record


class StepKind(StrEnum):
    """What to do."""

    # Entries.
    SETTLE_ROWS = "settle_rows"
    CORRECT_ENTRIES = "correct_entries"
    ANSWER_QUESTIONS = "answer_questions"
    # Prove dead, keep the drive off, find the part at fault.
    ISOLATE_AND_DISCHARGE = "isolate_and_discharge"
    PROVE_DEAD = "prove_dead"
    KEEP_OFF = "keep_off"
    KEEP_OFF_LOW = "keep_off_low"  # and do not raise the test voltage
    SPLIT_LOW = "split_low"  # lowest step first, split the axis
    CHECK_CIRCUIT = "check_circuit"
    # Insulation.
    MEASURE_AXIS = "measure_axis"
    TEST_TO_EARTH = "test_to_earth"
    TEST_AGAIN_AT = "test_again_at"
    TEST_JOINED_LEADS = "test_joined_leads"
    TEST_PHASES_JOINED = "test_phases_joined"
    SPLIT_BESIDE = "split_beside"
    CHECK_BESIDE = "check_beside"
    HOLD_VOLTAGE = "hold_voltage"
    RETEST_LATER = "retest_later"
    MEASURE_MOTOR_WITH_TEMPERATURE = "measure_motor_with_temperature"
    PLAN_CABLE = "plan_cable"
    INSPECT_CABLE = "inspect_cable"
    CLEAN_MOTOR = "clean_motor"
    PLAN_PART = "plan_part"
    TAKE_AUXILIARY_OUT = "take_auxiliary_out"
    # Readings to take again.
    READ_AGAIN = "read_again"
    READ_WITH_CONDITIONS = "read_with_conditions"
    REPEAT_STEADY = "repeat_steady"
    MORE_ACCURATE_OR_EARLY = "more_accurate_or_early"
    BETTER_ACCURACY = "better_accuracy"
    RANGE_THAT_SHOWS = "range_that_shows"
    NOTE_RANGE_END = "note_range_end"
    HIGHER_RANGE = "higher_range"
    FOUR_WIRE = "four_wire"
    MEASURE_PART = "measure_part"
    # The motor at 40 °C.
    REACH_TEMPERATURE = "reach_temperature"
    MEASURE_WINDING_TEMPERATURE = "measure_winding_temperature"
    FIND_INSULATION_SYSTEM = "find_insulation_system"
    ACCURATE_OR_NEAR_40C = "accurate_or_near_40c"
    WARM_MOTOR = "warm_motor"
    # Tester.
    CALIBRATE_TESTER = "calibrate_tester"
    DO_NOT_EXCEED = "do_not_exceed"
    DO_NOT_EXCEED_CABLE = "do_not_exceed_cable"
    USE_CALIBRATED = "use_calibrated"
    # Absorption, steps, ohmmeter.
    REPEAT_TEN_MINUTES = "repeat_ten_minutes"
    DO_NOT_RAISE = "do_not_raise"
    REPEAT_STEPS = "repeat_steps"
    CHECK_LEAD = "check_lead"
    LOWEST_VOLTAGE = "lowest_voltage"
    VACUUM_AND_RETEST = "vacuum_and_retest"
    CLEAN_PART = "clean_part"
    REPEAT_BOTH_REVERSED = "repeat_both_reversed"
    CLEAN_REPEAT_BOTH = "clean_repeat_both"
    DRY_PART = "dry_part"
    # Windings.
    MEASURE_CORE = "measure_core"
    REPLACE_CABLE_OR_PLUG = "replace_cable_or_plug"
    MOTOR_AND_CORES = "motor_and_cores"
    FOUR_WIRE_THEN_PLAN = "four_wire_then_plan"
    MEASURE_PAIRS = "measure_pairs"
    CLEAN_COMMUTATOR = "clean_commutator"
    CHECK_COMPENSATION = "check_compensation"
    INSPECT_JOINTS = "inspect_joints"
    # Isolation.
    RETEST_JOINED_WHILE_FLEXING = "retest_joined_while_flexing"
    REPEAT_THREE = "repeat_three"
    REPEAT_WHOLE_AND_LOW = "repeat_whole_and_low"
    TEST_CABLE_ALONE = "test_cable_alone"
    TEST_MOTOR_ALONE = "test_motor_alone"
    TEST_WHOLE = "test_whole"
    SPARE_OVER_FLOOR = "spare_over_floor"
    REPLACE_CABLE_WITH_SPARE = "replace_cable_with_spare"
    REPLACE_CABLE_ORDER = "replace_cable_order"
    PHOTOGRAPH_WEAR = "photograph_wear"
    VACUUM_MOTOR = "vacuum_motor"
    CLEAN_DRY_MOTOR = "clean_dry_motor"
    IF_LOW_FIT_SPARE = "if_low_fit_spare"
    IF_LOW_REPAIR = "if_low_repair"
    OPEN_CONNECTOR = "open_connector"
    OPEN_TERMINAL_BOX = "open_terminal_box"
    OPEN_TERMINAL_BOX_BRUSHES = "open_terminal_box_brushes"
    CHECK_PINS = "check_pins"
    MEASURE_MOTOR_PAIRS = "measure_motor_pairs"
    MEASURE_MOTOR_ARMATURE = "measure_motor_armature"
    # Trend.
    STOP_AND_ISOLATE = "stop_and_isolate"
    CLEAN_NOW = "clean_now"
    INVESTIGATE = "investigate"
    PLAN_REPAIR = "plan_repair"


class ReasonKind(StrEnum):
    """Why: of a step, of a finding, of the bounds of a reading."""

    # Entries.
    ROW_MAY_HOLD_FAULT = "row_may_hold_fault"
    CANNOT_BE_USED = "cannot_be_used"
    NOT_ANSWERED = "not_answered"
    # Why a reading has no value.
    INVALID_DISPLAY = "invalid_display"
    NO_DIGITS = "no_digits"
    NO_UNIT = "no_unit"
    WRONG_UNIT = "wrong_unit"
    NEGATIVE = "negative"
    VOLTAGE_RISING = "voltage_rising"
    HARDLY_ANY_CURRENT = "hardly_any_current"
    COMPLIANCE_NOT_STATED = "compliance_not_stated"
    # Where the bounds of a reading come from, and what lowers them.
    VOLTAGE_ON_CIRCUIT = "voltage_on_circuit"
    ONE_PHASE_ONLY = "one_phase_only"
    FULL_VOLTAGE_LOAD = "full_voltage_load"
    OVER_RANGE = "over_range"
    RANGE_END_UNKNOWN = "range_end_unknown"
    BELOW_RANGE = "below_range"
    RESOLUTION_UNKNOWN = "resolution_unknown"
    DATA_SHEET = "data_sheet"
    STANDARD_ERROR = "standard_error"
    ASSUMED_ERROR = "assumed_error"
    # Insulation.
    NOTHING_JUDGED = "nothing_judged"
    FEW_VOLTS = "few_volts"
    HIGHER_VOLTAGE = "higher_voltage"
    LEADS_JOINED = "leads_joined"
    TIME_NOT_RECORDED = "time_not_recorded"
    TIME_TOO_SHORT = "time_too_short"
    ONE_MINUTE_VALUE = "one_minute_value"
    NOT_STEADY = "not_steady"
    LOW_BATTERY = "low_battery"
    TREND_SHOWS = "trend_shows"
    MOTOR_OWN_LIMIT = "motor_own_limit"
    CABLE_WEARS = "cable_wears"
    NEW_CABLES_HIGHER = "new_cables_higher"
    MET_BY_LESS = "met_by_less"
    BELOW_LIMIT = "below_limit"
    CANNOT_BUILD = "cannot_build"
    ERROR_REACHES = "error_reaches"
    NEAR_SIDE = "near_side"
    SURFACE_DIRT = "surface_dirt"
    INSULATION_ITSELF = "insulation_itself"
    CLEANING_DID_NOT = "cleaning_did_not"
    BESIDE_LEAKS = "beside_leaks"
    BESIDE_OPEN = "beside_open"
    FIELD_LOST = "field_lost"
    CAN_DESTROY = "can_destroy"
    # The motor at 40 °C.
    NOT_COMPARABLE = "not_comparable"
    AT_RISK = "at_risk"
    NEEDS_TEMPERATURE = "needs_temperature"
    BOUND_BELOW = "bound_below"
    SYSTEMS_DIFFER = "systems_differ"
    NOT_CERTAIN = "not_certain"
    WATER_FILM = "water_film"
    # Tester.
    ABOVE_STANDARD = "above_standard"
    CAN_HARM = "can_harm"
    NOT_ASSURED = "not_assured"
    # Absorption and steps.
    INDEX_MEANINGLESS = "index_meaningless"
    BRUSHED_ARMATURE = "brushed_armature"
    CLASS_NOT_RECORDED = "class_not_recorded"
    INDEX_MEETS_LIMIT = "index_meets_limit"
    SOUND_RESISTANCE = "sound_resistance"
    NO_TABLE = "no_table"
    HARDLY_ABSORBED = "hardly_absorbed"
    WITHIN_COUNTS = "within_counts"
    LOW_ABSORPTION = "low_absorption"
    CREEPING_BREAKDOWN = "creeping_breakdown"
    FALLS_UNDER_VOLTAGE = "falls_under_voltage"
    DUST_OR_CRACK = "dust_or_crack"
    DRYING_OR_ABSORPTION = "drying_or_absorption"
    SURFACE_LEAKAGE = "surface_leakage"
    # Ohmmeter to earth.
    SHORT_OR_WRONG_LEAD = "short_or_wrong_lead"
    PATH_TO_EARTH = "path_to_earth"
    PATH_FOUND = "path_found"
    BRUSH_DUST = "brush_dust"
    DUST_OR_TRACKING = "dust_or_tracking"
    DUST_BRIDGE = "dust_bridge"
    FINGERS_OR_MOISTURE = "fingers_or_moisture"
    ONE_IS_WRONG = "one_is_wrong"
    OPENS_WITH_VOLTAGE = "opens_with_voltage"
    ELECTROLYTIC = "electrolytic"
    WET_PATHS = "wet_paths"
    # Windings.
    CABLE_OR_WINDING_OPEN = "cable_or_winding_open"
    WINDING_OPEN = "winding_open"
    ABOVE_RANGE = "above_range"
    LOOK_ALIKE = "look_alike"
    CORE_BROKEN = "core_broken"
    COUNT_TOO_COARSE = "count_too_coarse"
    PAIRS_LEFT = "pairs_left"
    ODD_PHASE = "odd_phase"
    SHORTED_TURNS = "shorted_turns"
    BRUSH_CONTACT = "brush_contact"
    HIGH_OR_LOW = "high_or_low"
    SERIES_RESISTANCE = "series_resistance"
    # Isolation.
    NOT_LOCATED = "not_located"
    LEAK_TOGETHER = "leak_together"
    SOMETHING_BETWEEN = "something_between"
    WHOLE_ABOVE_PART = "whole_above_part"
    SPARE_CONVICTS = "spare_convicts"
    CABLE_MOVES = "cable_moves"
    CABLE_UNKNOWN = "cable_unknown"
    WINDING_SHOWN = "winding_shown"
    CONNECTORS_IN_CIRCUIT = "connectors_in_circuit"
    CABLE_FAILED = "cable_failed"
    NEIGHBOURS_WEAR = "neighbours_wear"
    DUST_AND_COOLANT = "dust_and_coolant"
    WINDING_FAILED = "winding_failed"
    GOOD_APART = "good_apart"
    MOTOR_OPEN = "motor_open"
    CABLE_OPEN = "cable_open"
    SERIES_OPEN = "series_open"
    # Trend.
    FALLEN = "fallen"
    EARLY_END = "early_end"


class Settling(StrEnum):
    """What change or value would settle the question."""

    STEADY_VALUE = "steady_value"
    VALUE_AT_TIME = "value_at_time"
    WHOLE_SPAN = "whole_span"
    ANY_VALUE = "any_value"
    LIMIT_AFTER_CLEANING = "limit_after_cleaning"
    RISES_WHEN_WARM = "rises_when_warm"
    INDEX_RISES = "index_rises"
    HOLDS_OR_RISES = "holds_or_rises"
    STEPS_EQUAL = "steps_equal"
    SAME_VOLTAGE_AFTER_CLEANING = "same_voltage_after_cleaning"
    UNEQUAL_REVERSED = "unequal_reversed"
    AGREEMENT = "agreement"
    EQUAL_BOTH_WAYS = "equal_both_ways"
    MILLIOHMS = "milliohms"
    THREE_DECIMALS = "three_decimals"
    EQUAL_AT_MOTOR = "equal_at_motor"
    SAME_ODD_PHASE = "same_odd_phase"
    SAME_POSITION = "same_position"
    CHANGES_WHEN_MOVED = "changes_when_moved"
    WHOLE_AS_CALCULATED = "whole_as_calculated"
    PARALLEL_LAW = "parallel_law"
    GOOD_CABLE = "good_cable"
    GOOD_MOTOR = "good_motor"
    WHOLE_ABOVE_LIMIT = "whole_above_limit"
    RISE_CONFIRMS = "rise_confirms"
    WHOLE_AS_GOOD = "whole_as_good"
    CLOSED_AFTER_JOINT = "closed_after_joint"
    CLOSED_AT_MOTOR = "closed_at_motor"
    SAME_VALUE_AGAIN = "same_value_again"


class Advice(StrEnum):
    """An opinion; written as "We recommend ..."."""

    NOT_TO_ENERGISE = "not_to_energise"
    CLEAN_AND_PLAN_REPAIR = "clean_and_plan_repair"
    CLEAN_BEFORE_WORK = "clean_before_work"
    CLEAN_BEFORE_REPLACING = "clean_before_replacing"
    REPLACE_CABLE = "replace_cable"
    CLEAN_OR_REPAIR_MOTOR = "clean_or_repair_motor"
    CABLE_THEN_MOTOR = "cable_then_motor"
    CLEAN_CONNECTOR = "clean_connector"


@record
class Action:
    """What to do, with the figures that its kind speaks of.

    Attributes:
        kind: What.
        voltage: Test voltage, V.
        first_voltage: Test voltage of the step before, V.
        seconds: Time under voltage, s.
        earliest: Lower end of a range of time (months) or temperature (°C).
        latest: Upper end of it.
        years: Time to plan for, years.
        retest_years: Time to the retest, years.
        positions: Shaft positions.
    """

    kind: StepKind
    voltage: Decimal | None = None
    first_voltage: Decimal | None = None
    seconds: Decimal | None = None
    earliest: Decimal | None = None
    latest: Decimal | None = None
    years: Decimal | None = None
    retest_years: Decimal | None = None
    positions: Decimal | None = None


@record
class Reason:
    """Why, with the figures that its kind speaks of.

    Attributes:
        kind: Why.
        limit: The limit it speaks of.
        percent: Share or error, percent.
        counts: Error, counts of the last digit.
        unit: UCUM code that was recorded.
        instrument: Name or number of an instrument.
        factor: A ratio.
        winding_c: Winding temperature, °C.
        lowest: Lower end of a range, °C.
        highest: Upper end of it, °C.
        because: The reason behind it.
        hard_to_reach: The motor's plug is hard to reach, so both parts are tested while it is open.
        coolant: Coolant reaches the part.
    """

    kind: ReasonKind
    limit: Limit | None = None
    percent: Decimal | None = None
    counts: Decimal | None = None
    unit: str | None = None
    instrument: str | None = None
    factor: Decimal | None = None
    winding_c: Decimal | None = None
    lowest: Decimal | None = None
    highest: Decimal | None = None
    because: Reason | None = None
    hard_to_reach: bool = False
    coolant: bool = False


@record
class Settles:
    """What would settle the question, with the figures that its kind speaks of.

    Attributes:
        kind: What.
        limit: The limit it speaks of.
        voltage: Test voltage, V.
        seconds: Time under voltage, s.
    """

    kind: Settling
    limit: Limit | None = None
    voltage: Decimal | None = None
    seconds: Decimal | None = None


@record
class NextStep:
    """What to do next, and why.

    Attributes:
        action: What to do.
        reason: Why.
        settles: What change or value would settle the question; None where nothing is at issue.
    """

    action: Action
    reason: Reason
    settles: Settles | None = None


def step(
    kind: StepKind | Action,
    reason: ReasonKind | Reason,
    settles: Settling | Settles | None = None,
) -> NextStep:
    """Make a step; a bare code stands for one that speaks of no figures."""
    if isinstance(kind, StepKind) and isinstance(reason, ReasonKind) and not isinstance(settles, Settles):
        return _bare_step(kind, reason, settles)
    return NextStep(
        Action(kind) if isinstance(kind, StepKind) else kind,
        Reason(reason) if isinstance(reason, ReasonKind) else reason,
        Settles(settles) if isinstance(settles, Settling) else settles,
    )


@cache
def _bare_step(kind: StepKind, reason: ReasonKind, settles: Settling | None) -> NextStep:
    return NextStep(Action(kind), Reason(reason), None if settles is None else Settles(settles))
