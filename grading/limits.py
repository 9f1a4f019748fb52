"""Every limit as data, with its source and provenance, and which of them applies to an axis.

One table, `LIMITS`, of the rows in `grading.limit_rows` and `grading.entry_limits`; nothing else in the package
holds a limit (`tests/grading/test_literals.py`). A shop profile makes a changed copy (`grading.shop`), which the rules
read through `Case.limit`. Limits that grow with the rated voltage ("kV + 1") are made by `field_limit`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from grading.entry_limits import ENTRY_LIMITS
from grading.limit import Limit
from grading.limit_rows import LIMIT_ROWS
from grading.measurement import AxisContext, MotorKind, WindingKind
from grading.terms.section import Section

LIMITS: Mapping[str, Limit] = {row.id: row for row in (*LIMIT_ROWS, *ENTRY_LIMITS)}

# What no shop can set: properties of testers, gates before a test, and figures kept to read other people's reports.
FIXED: frozenset[str] = frozenset(
    {"energy.residual_voltage", "energy.exempt_charge", "energy.gate_voltage", "energy.discharge_factor"}
    | {
        "energy.return_voltage",
        "energy.current",
        "voltage.extra_low",
        "voltage.installation",
        "temperature.lowest",
        "temperature.highest",
    }
    | {"voltage.machine", "voltage.first_step", "voltage.first_step_low", "voltage.first_step_rated"}
    | {"voltage.single_step", "voltage.small_rated", "voltage.small_first_step", "voltage.small_judging"}
    | {"voltage.small_ceiling"}
    | {"tester.built", "tester.full_voltage_load", "tester.operating_error", "insulation.armature_2000"}
    | {"tester.ceiling_rated", "tester.current_least", "tester.current_most", "tester.current_unexplained"}
    | {"tester.current_fit", "tester.ohm_error", "tester.ohm_counts", "tester.fewest_counts"}
    | {"tester.resolution_ohm", "tester.resolution_insulation"}
    | {"insulation.extra_low", "insulation.installation", "insulation.installation_high"}
    | {"insulation.cable_reference", "insulation.cable_rated", "insulation.cable_test", "insulation.cable_test_high"}
    | {"insulation.field_until", "insulation.form_wound_rated", "insulation.thermosetting_from"}
    | {"absorption.dar_fair", "absorption.dar_good", "absorption.dar_excellent"}
    | {"winding.nameplate_temperature", "winding.armature_fewest"}
    | {"trend.fewest_for_slope", "trend.fewest_for_band", "trend.confidence"}
    | {row.id for row in ENTRY_LIMITS}
)


@dataclass(frozen=True)
class GuidelineVoltages:
    """One row of guideline test voltages.

    Attributes:
        rated_below: Holds for rated voltages below this (up to this where `inclusive`), V.
        inclusive: Whether `rated_below` itself falls under the row.
        lowest: Lowest test voltage, V d.c.
        highest: Highest test voltage, V d.c.
    """

    rated_below: Decimal
    inclusive: bool
    lowest: Decimal
    highest: Decimal

    def holds(self, rated_voltage: Decimal) -> bool:
        """Tell whether a rated voltage falls under the row or one above it."""
        return rated_voltage < self.rated_below or (self.inclusive and rated_voltage == self.rated_below)


def _row(rated_below: str, lowest: int, highest: int, *, inclusive: bool = True) -> GuidelineVoltages:
    return GuidelineVoltages(Decimal(rated_below), inclusive, Decimal(lowest), Decimal(highest))


IEEE_43_TABLE_1: tuple[GuidelineVoltages, ...] = (
    _row("1000", 500, 500, inclusive=False),
    _row("2500", 500, 1000),
    _row("5000", 1000, 2500),
    _row("12000", 2500, 5000),
    _row("Infinity", 5000, 10000),
)
"""Guideline test voltages by rated voltage: IEEE 43-2013, Table 1 (read in a secondary text)."""


def field_limit(base: Limit, rated_voltage: Decimal | None) -> Limit:
    """Give the "kV + 1" row for one machine: 1 MΩ plus 1 MΩ per kV of rated voltage.

    Args:
        base: The table's "insulation.field".
        rated_voltage: V; None gives the 1 MΩ alone.

    Example (TV-C01, IEEE 43-2013, Table 3: kV + 1):
        >>> field_limit(LIMITS["insulation.field"], Decimal(90)).value
        Decimal('1.09')
    """
    return base if rated_voltage is None else replace(base, value=base.value + rated_voltage / 1000)


def winding_limit(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Limit:
    """Give the row of IEEE 43-2013 Table 3 that applies to the axis's winding."""
    winding = context.winding
    if winding is WindingKind.DC_ARMATURE:
        return limits["insulation.armature"]
    old = context.made_year is not None and context.made_year < limits["insulation.field_until"].value
    if winding is WindingKind.FIELD or old:
        return field_limit(limits["insulation.field"], context.rated_voltage)
    if winding is WindingKind.RANDOM_WOUND:
        return limits["insulation.random_wound"]
    low_voltage = context.rated_voltage is None or context.rated_voltage < limits["insulation.form_wound_rated"].value
    return limits["insulation.form_wound_low_voltage" if low_voltage else "insulation.form_wound"]


def machine_limit(
    context: AxisContext, limits: Mapping[str, Limit] = LIMITS, section: Section | None = Section.THROUGH_CABLE
) -> Limit:
    """Give the floor of IEC 60204-1, 18.3; the lower one only where slip rings or bus bars are part of what was tested.

    They lie on the way to the motor: in the cable and so in the whole, never in the motor alone.
    """
    lower = context.slip_rings and section is not Section.MOTOR_ALONE
    return limits["insulation.slip_rings" if lower else "insulation.machine"]


def watch_limit(context: AxisContext, limits: Mapping[str, Limit] = LIMITS) -> Limit:
    """Give the level below which a sound value is watched."""
    brushed = context.motor_kind is MotorKind.DC_SERVO
    return limits["insulation.watch_brushed" if brushed else "insulation.watch_brushless"]
