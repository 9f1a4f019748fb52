"""What a finding states, as data: where, which fact, which measured values.

`Fact` names what was found; a fact with figures of its own carries them in one of `grading.details`. English is written
from them last, in `grading.prose`.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from grading.measurement import Measurement
from grading.terms.quantity import Quantity
from grading.terms.record import record
from grading.terms.section import Section


class StatementBasis(StrEnum):
    """What kind of statement a finding makes."""

    MEASURED = "measured"  # a fact
    CALCULATED = "calculated"  # a figure computed from measured ones
    INDICATES = "indicates"  # an inference


class Fact(StrEnum):
    """What was found."""

    # An entry that must be settled.
    ROW_LEFT_OUT = "row_left_out"
    CANNOT_BE = "cannot_be"
    ASKED_ABOUT = "asked_about"
    # A reading held against a limit.
    WITHIN_LIMITS = "within_limits"
    IN_GUARD_BAND = "in_guard_band"
    BELOW_LIMIT = "below_limit"
    VOLTAGE_NOT_BUILT = "voltage_not_built"
    TOO_CLOSE = "too_close"
    BOUND_CANNOT_TELL = "bound_cannot_tell"
    IN_DOUBT = "in_doubt"
    SCREENING_STEP = "screening_step"
    VOLTAGE_TOO_LOW = "voltage_too_low"
    LOW_FOR_KIND = "low_for_kind"
    LOW_FOR_KIND_AT_40C = "low_for_kind_at_40c"
    CABLE_BY_LENGTH = "cable_by_length"
    LENGTH_NOT_KNOWN = "length_not_known"
    BELOW_CABLE_GUIDANCE = "below_cable_guidance"
    # A reading that judges nothing, or is missing.
    NO_VALUE = "no_value"
    NO_INSULATION_TEST = "no_insulation_test"
    LEADS_JOINED = "leads_joined"
    PHASES_CONDUCT = "phases_conduct"
    BEFORE_CLEANING = "before_cleaning"
    EARLIER_VALUE = "earlier_value"
    NOT_ONE_MINUTE = "not_one_minute"
    AUXILIARY_UNDER_VOLTAGE = "auxiliary_under_voltage"
    CIRCUIT_LIVE = "circuit_live"
    NOT_PROVED_DEAD = "not_proved_dead"
    # Circuits beside the power circuit.
    BESIDE_BELOW_FLOOR = "beside_below_floor"
    BESIDE_UNDECIDED = "beside_undecided"
    BESIDE_ABOVE_FLOOR = "beside_above_floor"
    BESIDE_MEASURED = "beside_measured"
    BESIDE_OPEN = "beside_open"
    BESIDE_CLOSED = "beside_closed"
    # The motor alone at 40 °C.
    WINDING_WITHIN_LIMITS = "winding_within_limits"
    WINDING_BELOW_LIMIT = "winding_below_limit"
    WINDING_UNDECIDED = "winding_undecided"
    WINDING_REDUCED_CONDITIONS = "winding_reduced_conditions"
    NOT_COMPARABLE = "not_comparable"
    WINDING_NEAR_DEW_POINT = "winding_near_dew_point"
    CABLE_NEAR_DEW_POINT = "cable_near_dew_point"
    AIR_NEAR_DEW_POINT = "air_near_dew_point"
    # Cleaning.
    CLEANING_HELPED = "cleaning_helped"
    CLEANING_CHANGED_NOTHING = "cleaning_changed_nothing"
    CLEANING_COMPARED = "cleaning_compared"
    # Tester.
    OVERSHOOT = "overshoot"
    ABOVE_CEILING = "above_ceiling"
    OUT_OF_CALIBRATION = "out_of_calibration"
    # Absorption and steps.
    INDEX = "index"
    INDEX_LOW = "index_low"
    INDEX_FELL = "index_fell"
    INDEX_UNDEFINED = "index_undefined"
    RATIO = "ratio"
    RATIO_FELL = "ratio_fell"
    RATIO_UNDEFINED = "ratio_undefined"
    FELL_UNDER_VOLTAGE = "fell_under_voltage"
    WEAKENS_WITH_VOLTAGE = "weakens_with_voltage"
    ROSE_WITH_VOLTAGE = "rose_with_voltage"
    STEADY_STEPS = "steady_steps"
    # Ohmmeter to earth.
    NO_PATH = "no_path"
    DEAD_SHORT = "dead_short"
    PATH_TO_EARTH = "path_to_earth"
    FINITE_VALUE = "finite_value"
    METERS_AGREE_AS_FAR = "meters_agree_as_far"
    METERS_AGREE = "meters_agree"
    METERS_AGREE_WITHIN = "meters_agree_within"
    METERS_DISAGREE = "meters_disagree"
    CONDUCTS_UNDER_VOLTAGE = "conducts_under_voltage"
    DEPENDS_ON_POLARITY = "depends_on_polarity"
    # Windings.
    CIRCUIT_OPEN = "circuit_open"
    CIRCUIT_CLOSED = "circuit_closed"
    ABOVE_RANGE = "above_range"
    BELOW_RESOLUTION = "below_resolution"
    CORE_BROKEN = "core_broken"
    CORE_RESISTS = "core_resists"
    CORE_CONTINUOUS = "core_continuous"
    PHASES_ALIKE = "phases_alike"
    PHASES_UNEQUAL = "phases_unequal"
    PHASES_NOT_COMPARABLE = "phases_not_comparable"
    PAIRS_MISSING = "pairs_missing"
    ARMATURE_EVEN = "armature_even"
    ARMATURE_UNEVEN = "armature_uneven"
    OFF_NAMEPLATE = "off_nameplate"
    OF_RATED_ORDER = "of_rated_order"
    FAR_FROM_RATED_ORDER = "far_from_rated_order"
    JOINTS_GOOD = "joints_good"
    JOINT_BAD = "joint_bad"
    CABINET_BELOW_MOTOR = "cabinet_below_motor"
    CABINET_BELOW_CABLE = "cabinet_below_cable"
    # Isolation.
    LOCATED = "located"
    WHOLE_LOWER = "whole_lower"
    WHOLE_HIGHER = "whole_higher"
    WHOLE_ABOVE_PART = "whole_above_part"
    WHOLE_AGREES = "whole_agrees"
    PART_CALCULATED = "part_calculated"
    # Trend.
    FELL_A_DECADE = "fell_a_decade"
    FELL_TO_A_THIRD = "fell_to_a_third"
    HALVED = "halved"
    TEMPERATURE_EXPLAINS = "temperature_explains"
    COMPARED_BEFORE = "compared_before"
    TREND_TOO_SHORT = "trend_too_short"
    NO_TREND = "no_trend"
    RISING = "rising"
    NOT_REACHED = "not_reached"
    FORECAST = "forecast"


@record
class Place:
    """Where: axis, part, test point, shaft or carrier position; what is not spoken of is None."""

    axis: str
    section: Section | None = None
    terminals: str | None = None
    position: str | None = None

    @classmethod
    def of(cls, measurement: Measurement) -> Place:
        """Give the place of a measurement."""
        return cls(measurement.axis, measurement.section, measurement.terminals, measurement.position)


@record
class MeasuredValue:
    """A measured value as a finding cites it: record, part and test point, quantity, voltages in V, time in s."""

    record_id: str
    section: Section | None
    terminals: str
    quantity: Quantity
    voltage_set: Decimal | None = None
    voltage_built: Decimal | None = None
    elapsed_s: Decimal | None = None

    @classmethod
    def of(cls, measurement: Measurement) -> MeasuredValue:
        """Give what a finding cites of a measurement."""
        m = measurement
        voltages = (m.test_voltage_set, m.test_voltage_built)
        return cls(m.record_id, m.section, m.terminals, m.quantity, *voltages, m.elapsed_s)
