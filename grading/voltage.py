"""Test voltage: what to choose, whether the tester built it, and what it means when it did not.

IEEE 43-2013 Table 1 gives the guideline test voltages. IEC 61557-2 says what a tester must do: at least its nominal
voltage down to a load of 1000 Ω/V, at most 1.25 times that voltage without load, at most 15 mA. So a steady voltage
below nominal proves a resistance below 1000 Ω/V times the voltage selected, whatever the tester's current limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from grading.interval import Interval
from grading.limits import LIMITS

OHM_PER_VOLT = LIMITS["tester.full_voltage_load"].value
CURRENT_LEAST_MA = Decimal(1)  # IEC 61557-2, 4.3 (from memory)
CURRENT_MOST_MA = Decimal(15)  # IEC 61557-2, 4.4 (from memory)
COLLAPSE_CURRENT_MA = Decimal("0.3")  # house rule: below this, nothing explains a collapsed voltage

_IEEE_43_TABLE_1: tuple[tuple[Decimal, Decimal, Decimal], ...] = (
    # Rated voltage below or equal, lowest and highest test voltage, V (secondary text). The first row is "< 1000".
    (Decimal("999.999"), Decimal(500), Decimal(500)),
    (Decimal(2500), Decimal(500), Decimal(1000)),
    (Decimal(5000), Decimal(1000), Decimal(2500)),
    (Decimal(12000), Decimal(2500), Decimal(5000)),
    (Decimal("Infinity"), Decimal(5000), Decimal(10000)),
)


def ieee43_test_voltage(rated_voltage: Decimal) -> tuple[Decimal, Decimal]:
    """Lowest and highest guideline test voltage, V d.c., for a rated voltage in V (IEEE 43-2013 Table 1).

    Raises:
        ValueError: The rated voltage is not above 0.
    """
    if rated_voltage <= 0:
        raise ValueError("The rated voltage must be above 0 V.")
    return next((low, high) for upto, low, high in _IEEE_43_TABLE_1 if rated_voltage <= upto)


@dataclass(frozen=True)
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
    reason: str


def choose(rated_voltage: Decimal | None, maker_voltage: Decimal | None = None) -> VoltageChoice:
    """Choose test voltages: the maker's word first, then IEEE 43 Table 1 with house rules for small motors.

    Args:
        rated_voltage: Motor's rated voltage, V; None where unknown (500 V, as IEC 60204-1, 18.3 asks of a machine).
        maker_voltage: The maker's test voltage, V.
    """
    if maker_voltage is not None:
        low = maker_voltage if maker_voltage < 250 else max(Decimal(100), maker_voltage / 2)
        return VoltageChoice(low, maker_voltage, maker_voltage, "the motor maker's test voltage")
    if rated_voltage is None:
        return VoltageChoice(Decimal(250), Decimal(500), Decimal(500), "500 V by IEC 60204-1, 18.3; rating unknown")
    if rated_voltage <= 50:
        reason = "house rule for motors rated up to 50 V; more needs the maker's consent"
        return VoltageChoice(Decimal(50), Decimal(100), Decimal(250), reason)
    low, high = ieee43_test_voltage(rated_voltage)
    screening = Decimal(250) if rated_voltage > 200 else Decimal(100)
    return VoltageChoice(screening, low, high, "IEEE 43-2013, Table 1")


def withstand_voltage(rated_voltage: Decimal, rated_power_w: Decimal) -> tuple[Decimal, Decimal]:
    """A.c. withstand test of a new and of an overhauled winding, V r.m.s. (IEC 60034-1:2004, Table 16, read).

    New: 500 + 2U below 1 kW and 100 V, otherwise 1000 + 2U but at least 1500. Overhauled: 1.5U, at least 1000, or at
    least 500 for ratings below 100 V.
    """
    small = rated_power_w < 1000 and rated_voltage < 100
    new = 500 + 2 * rated_voltage if small else max(Decimal(1500), 1000 + 2 * rated_voltage)
    overhauled = max(Decimal(500) if rated_voltage < 100 else Decimal(1000), rated_voltage * 3 / 2)
    return new, overhauled


def open_circuit_most(nominal: Decimal) -> Decimal:
    """Highest voltage without load that IEC 61557-2 allows a tester, V."""
    return LIMITS["tester.overshoot"].value * nominal


def full_voltage_load_ohm(nominal: Decimal) -> Decimal:
    """Lowest load in ohm at which a tester must still hold its nominal voltage (1000 Ω/V)."""
    return OHM_PER_VOLT * nominal


def collapse_bound(nominal: Decimal | None) -> Interval:
    """What a steady collapse proves: R below 1000 Ω/V times the voltage selected (1 MΩ where that is unknown)."""
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
    """
    return Interval(built / most_ma * 1000, built / least_ma * 1000)


def implied_current_ma(built: Decimal, resistance_ohm: Decimal) -> Decimal:
    """Current through the object, mA: U/R (Infinity at 0 Ω)."""
    return Decimal("Infinity") if resistance_ohm == 0 else built / resistance_ohm * 1000


def is_collapsed(set_voltage: Decimal, built: Decimal) -> bool:
    """Whether the tester failed to build its voltage (below 90 % of the voltage selected)."""
    return built < LIMITS["tester.built"].value * set_voltage


def overshoot_ratio(set_voltage: Decimal, built: Decimal) -> Decimal:
    """Voltage built over voltage selected; above 1.25 the tester wants calibrating."""
    return built / set_voltage


def step_drop_percent(lower_step: Decimal, higher_step: Decimal) -> Decimal:
    """How far insulation resistance fell from the lower to the higher test voltage, percent of the former.

    Negative where it rose (drying, absorption). Any unit, the same for both.

    Raises:
        ValueError: The value at the lower step is not above 0.
    """
    if lower_step <= 0:
        raise ValueError("The value at the lower test voltage must be above 0.")
    return 100 * (lower_step - higher_step) / lower_step


def charge_time_s(capacitance_f: Decimal, voltage: Decimal, current_ma: Decimal) -> Decimal:
    """Time in s to charge a capacitance (F) to a voltage (V) with a constant current (mA): C U / I."""
    return capacitance_f * voltage / current_ma * 1000
