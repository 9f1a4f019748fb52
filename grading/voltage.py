"""Test voltage: what to choose, whether the tester built it, and what it means when it did not.

IEEE 43-2013 Table 1 gives the guideline test voltages. IEC 61557-2 says what a tester must do: at least its nominal
voltage down to a load of 1000 Ω/V, at most 1.25 times that voltage without load, at most 15 mA. So a steady voltage
below nominal proves a resistance below 1000 Ω/V times the voltage selected, whatever the tester's current limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum

from grading.interval import Interval
from grading.limit import Limit
from grading.limits import IEEE_43_TABLE_1, LIMITS
from grading.terms.record import record

OHM_PER_VOLT = LIMITS["tester.full_voltage_load"].value
CURRENT_LEAST_MA = LIMITS["tester.current_least"].value
CURRENT_MOST_MA = LIMITS["tester.current_most"].value

SMALL_BELOW_W, SMALL_BELOW_V = Decimal(1000), Decimal(100)
"""Ratings below which the lower withstand test holds (IEC 60034-1:2004, Table 16, read)."""
WITHSTAND_NEW_SMALL_V, WITHSTAND_NEW_V, WITHSTAND_NEW_LEAST_V = Decimal(500), Decimal(1000), Decimal(1500)
"""What is added to twice the rated voltage for a new winding, small and other, and the least (same table), V."""
WITHSTAND_USED_SMALL_V, WITHSTAND_USED_V = Decimal(500), Decimal(1000)
"""Least withstand test of an overhauled winding, rated below 100 V and other (same table), V."""
WITHSTAND_USED_FACTOR = Decimal("1.5")
"""Withstand test of an overhauled winding over its rated voltage (same table)."""
MILLI = 1000
"""Milliamperes in an ampere."""


def ieee43_test_voltage(rated_voltage: Decimal) -> tuple[Decimal, Decimal]:
    """Give the lowest and highest guideline test voltage, V d.c., for a rated voltage in V (IEEE 43-2013 Table 1).

    Raises:
        ValueError: The rated voltage is not above 0.

    Example (TV-B03, IEEE 43-2013, Table 1):
        >>> ieee43_test_voltage(Decimal(1200))
        (Decimal('500'), Decimal('1000'))
    """
    if rated_voltage <= 0:
        raise ValueError("The rated voltage must be above 0 V.")
    return next((row.lowest, row.highest) for row in IEEE_43_TABLE_1 if row.holds(rated_voltage))


class ChoiceReason(StrEnum):
    """Where a choice of test voltages comes from."""

    MAKER = "maker"  # the motor maker's test voltage
    RATING_UNKNOWN = "rating_unknown"  # IEC 60204-1, 18.3, since the rating is not known
    SMALL_MOTOR = "small_motor"  # program's rule for motors of small rated voltage
    CABLE_CLASS = "cable_class"  # program's rule for cables of the 600 V class alone
    GUIDELINE = "guideline"  # IEEE 43-2013, Table 1


@record
class VoltageChoice:
    """Test voltages for one winding.

    Attributes:
        screening: First step, V d.c.
        judging: The step that judges, V d.c.
        ceiling: Never above this, V d.c.
        reason: Where the choice comes from.
    """

    screening: Decimal
    judging: Decimal
    ceiling: Decimal
    reason: ChoiceReason


def choose(
    rated_voltage: Decimal | None, maker_voltage: Decimal | None = None, limits: Mapping[str, Limit] = LIMITS
) -> VoltageChoice:
    """Choose test voltages: the maker's word first, then IEEE 43 Table 1 with program's rules for small motors.

    Args:
        rated_voltage: Motor's rated voltage, V; None where unknown (500 V, as IEC 60204-1, 18.3 asks of a machine).
        maker_voltage: The maker's test voltage, V.
        limits: Limits in force.

    Example (TV-B04, program's rule for small motors):
        >>> choice = choose(Decimal(24))
        >>> choice.screening, choice.judging, choice.ceiling
        (Decimal('50'), Decimal('100'), Decimal('250'))
    """

    def volts(name: str) -> Decimal:
        return limits[name].value

    if maker_voltage is not None:
        halved = max(volts("voltage.first_step_low"), maker_voltage / 2)
        low = maker_voltage if maker_voltage < volts("voltage.single_step") else halved
        return VoltageChoice(low, maker_voltage, maker_voltage, ChoiceReason.MAKER)
    if rated_voltage is None:
        return VoltageChoice(
            volts("voltage.first_step"), volts("voltage.machine"), volts("voltage.machine"), ChoiceReason.RATING_UNKNOWN
        )
    if rated_voltage <= volts("voltage.small_rated"):
        steps = (volts("voltage.small_first_step"), volts("voltage.small_judging"), volts("voltage.small_ceiling"))
        return VoltageChoice(*steps, ChoiceReason.SMALL_MOTOR)
    low, high = ieee43_test_voltage(rated_voltage)
    screening = volts(
        "voltage.first_step" if rated_voltage > volts("voltage.first_step_rated") else "voltage.first_step_low"
    )
    return VoltageChoice(screening, low, high, ChoiceReason.GUIDELINE)


def withstand_voltage(rated_voltage: Decimal, rated_power_w: Decimal) -> tuple[Decimal, Decimal]:
    """Compute the a.c. withstand test of a new and an overhauled winding, V r.m.s. (IEC 60034-1:2004, Table 16, read).

    New: 500 + 2U below 1 kW and 100 V, otherwise 1000 + 2U but at least 1500. Overhauled: 1.5U, at least 1000, or at
    least 500 for ratings below 100 V.

    Example (TV-B11 and TV-B12-large, IEC 60034-1:2004, Table 16):
        >>> withstand_voltage(Decimal(90), Decimal(800))
        (Decimal('680'), Decimal('500'))
        >>> withstand_voltage(Decimal(800), Decimal(2000))
        (Decimal('2600'), Decimal('1200.0'))
    """
    small = rated_power_w < SMALL_BELOW_W and rated_voltage < SMALL_BELOW_V
    other = max(WITHSTAND_NEW_LEAST_V, WITHSTAND_NEW_V + 2 * rated_voltage)
    new = WITHSTAND_NEW_SMALL_V + 2 * rated_voltage if small else other
    least = WITHSTAND_USED_SMALL_V if rated_voltage < SMALL_BELOW_V else WITHSTAND_USED_V
    return new, max(least, rated_voltage * WITHSTAND_USED_FACTOR)


def open_circuit_most(nominal: Decimal) -> Decimal:
    """Give the highest voltage without load that IEC 61557-2 allows a tester, V.

    Example (TV-B06-500, IEC 61557-2:2007):
        >>> open_circuit_most(Decimal(500))
        Decimal('625.00')
    """
    return LIMITS["tester.overshoot"].value * nominal


def full_voltage_load_ohm(nominal: Decimal) -> Decimal:
    """Give the lowest load in ohm at which a tester must still hold its nominal voltage (1000 Ω/V).

    Example (TV-B09-500, IEC 61557-2:2019, 6.4):
        >>> full_voltage_load_ohm(Decimal(500))
        Decimal('500000')
    """
    return OHM_PER_VOLT * nominal


def collapse_bound(nominal: Decimal | None) -> Interval:
    """Bound what a steady collapse proves: R below 1000 Ω/V times the voltage selected (1 MΩ where that is unknown)."""
    return Interval.at_most(full_voltage_load_ohm(nominal if nominal is not None else OHM_PER_VOLT))


def collapse_estimate(
    built: Decimal, least_ma: Decimal = CURRENT_LEAST_MA, most_ma: Decimal = CURRENT_MOST_MA
) -> Interval:
    """Estimate in ohm from the voltage left: U_built / I, I between the tester's least and most current.

    It assumes that the tester still drives `least_ma` while collapsed; one that folds back drives less, so this is an
    estimate, not a bound.

    Args:
        built: Voltage left on the terminals, V.
        least_ma: Smallest current the tester may drive, mA.
        most_ma: Largest, mA.

    Example (TV-H02: 100 V left, 1 to 15 mA):
        >>> found = collapse_estimate(Decimal(100))
        >>> round(found.low), found.high
        (6667, Decimal('100000'))
    """
    return Interval(built / most_ma * MILLI, built / least_ma * MILLI)


def implied_current_ma(built: Decimal, resistance_ohm: Decimal) -> Decimal:
    """Compute the current through the object, mA: U/R (Infinity at 0 Ω).

    Example (TV-H05):
        >>> implied_current_ma(Decimal(70), Decimal(70_000))
        Decimal('1.000')
    """
    return Decimal("Infinity") if resistance_ohm == 0 else built / resistance_ohm * MILLI


def is_collapsed(set_voltage: Decimal, built: Decimal, least: Decimal = LIMITS["tester.built"].value) -> bool:
    """Tell whether the tester failed to build its voltage (below `least`, 0.9, times the voltage selected)."""
    return built < least * set_voltage


def overshoot_ratio(set_voltage: Decimal, built: Decimal) -> Decimal:
    """Compute the voltage built over voltage selected; above 1.25 the tester wants calibrating.

    Example (TV-B08):
        >>> overshoot_ratio(Decimal(500), Decimal(640))
        Decimal('1.28')
    """
    return built / set_voltage


def step_drop_percent(lower_step: Decimal, higher_step: Decimal) -> Decimal:
    """Compute how far insulation resistance fell from the lower to the higher test voltage, percent of the former.

    Negative where it rose (drying, absorption). Any unit, the same for both.

    Raises:
        ValueError: The value at the lower step is not above 0.

    Example (TV-H09):
        >>> step_drop_percent(Decimal(40), Decimal(28))
        Decimal('30')
    """
    if lower_step <= 0:
        raise ValueError("The value at the lower test voltage must be above 0.")
    return 100 * (lower_step - higher_step) / lower_step


def charge_time_s(capacitance_f: Decimal, voltage: Decimal, current_ma: Decimal) -> Decimal:
    """Compute the time in s to charge a capacitance (F) to a voltage (V) with a constant current (mA): C U / I.

    Example (TV-H12):
        >>> charge_time_s(Decimal("1.5e-6"), Decimal(500), Decimal(5)).normalize()
        Decimal('0.15')
    """
    return capacitance_f * voltage / current_ma * MILLI
