"""Temperature: insulation resistance to 40 °C, winding resistance to a reference, and the dew point.

IEEE 43-2013, 6.3 knows two correction systems. Its constants and ranges stand here from memory (the two-system split
is known from a secondary text), so every corrected value says which system it used. Outside 10 to 85 °C nothing is
corrected: the value is "not comparable".
"""

from __future__ import annotations

from decimal import Context, Decimal, localcontext
from functools import lru_cache

from grading.limits import LIMITS
from grading.measurement import Conductor, InsulationSystem

LOWEST_C = LIMITS["temperature.lowest"].value
HIGHEST_C = LIMITS["temperature.highest"].value
REFERENCE_C = Decimal(40)
"""Temperature that insulation resistance is brought to, °C (IEEE 43-2013, 6.3)."""

ZERO_RESISTANCE_C: dict[Conductor, Decimal] = {
    Conductor.COPPER: Decimal("234.5"),
    Conductor.ALUMINIUM: Decimal(225),
}
"""Temperature at which the resistance of the metal would be zero, sign turned, °C (secondary texts; IEC 60034-1 uses
235 for copper, which changes a correction over 130 K by 0.06 %)."""

HALVING_K = Decimal(10)
"""Rise in which the resistance of a thermoplastic system halves, K (IEEE 43-2013, 6.3; from memory)."""
ENERGY_HOT = Decimal(4230)
"""Exponent of the thermosetting correction from 40 to 85 °C, K (IEEE 43-2013, 6.3; from memory)."""
ENERGY_COLD = Decimal(1245)
"""The same from 10 to 40 °C, K."""
KELVIN = Decimal(273)
"""Zero of the Celsius scale as the published table rounds it, K: 273, and so 313 for 40 °C."""

MAGNUS_A = Decimal("17.62")
"""Magnus formula over water, first constant (from memory; good to about 0.1 °C between -45 and 60 °C)."""
MAGNUS_B = Decimal("243.12")
"""Magnus formula over water, second constant, °C (from memory)."""
MAGNUS_RANGE = (Decimal(-45), Decimal(60))
"""Air temperatures for which the Magnus formula is given, °C (from memory)."""


_EXACT = Context(prec=28)
"""Arithmetic of its own, so that what is kept at hand does not depend on who asked first."""
CACHED = 1024
"""Temperatures whose factors are kept at hand; a job has a few."""


class NotComparableError(ValueError):
    """The temperature is outside the range of the correction; the value cannot be brought to 40 °C."""


@lru_cache(maxsize=CACHED)
def factor_thermoplastic(winding_c: Decimal) -> Decimal:
    """Compute K_T = 0.5^((40 - T)/10): resistance halves per 10 °C (IEEE 43-2013, 6.3; from memory).

    Args:
        winding_c: Winding temperature, 10 to 85 °C.

    Raises:
        NotComparableError: Outside that range.

    Example (TV-D01, IEEE 43-2013, 6.3, from memory):
        >>> round(factor_thermoplastic(Decimal(20)), 4)
        Decimal('0.2500')
    """
    _check(winding_c)
    with localcontext(_EXACT):
        return (1 / Decimal(2)) ** ((REFERENCE_C - winding_c) / HALVING_K)


@lru_cache(maxsize=CACHED)
def factor_thermosetting(winding_c: Decimal) -> Decimal:
    """Compute K_T = exp(-E (1/(T + 273) - 1/313)), E = 4230 from 40 to 85 °C, 1245 from 10 to 40 °C.

    IEEE 43-2013, 6.3; constants and ranges from memory. 273 and 313 match the published table.

    Args:
        winding_c: Winding temperature, 10 to 85 °C.

    Raises:
        NotComparableError: Outside that range.

    Example (TV-D11, IEEE 43-2013, 6.3, constants from memory):
        >>> round(factor_thermosetting(Decimal(20)), 4)
        Decimal('0.7622')
    """
    _check(winding_c)
    energy = ENERGY_HOT if winding_c >= REFERENCE_C else ENERGY_COLD
    with localcontext(_EXACT):
        return (-energy * (1 / (winding_c + KELVIN) - 1 / (REFERENCE_C + KELVIN))).exp()


def factors(system: InsulationSystem, winding_c: Decimal) -> dict[InsulationSystem, Decimal]:
    """Compute the correction factor of the system, or of both where it is unknown.

    Raises:
        NotComparableError: Outside 10 to 85 °C.

    Example (TV-D01 and TV-D11):
        >>> both = factors(InsulationSystem.UNKNOWN, Decimal(20))
        >>> {system.value: str(round(factor, 4)) for system, factor in both.items()}
        {'thermosetting': '0.7622', 'thermoplastic': '0.2500'}
    """
    both = {
        InsulationSystem.THERMOSETTING: factor_thermosetting(winding_c),
        InsulationSystem.THERMOPLASTIC: factor_thermoplastic(winding_c),
    }
    return both if system is InsulationSystem.UNKNOWN else {system: both[system]}


def factor_bounds(system: InsulationSystem, winding_c: Decimal, uncertainty_c: Decimal) -> tuple[Decimal, Decimal]:
    """Compute the lowest and highest factor for winding_c ± uncertainty_c, over both systems where it is unknown.

    The temperatures are cut to 10 to 85 °C, since the factors are not defined beyond.

    Raises:
        NotComparableError: `winding_c` itself is outside 10 to 85 °C.
    """
    _check(winding_c)
    cold = max(LOWEST_C, winding_c - uncertainty_c)
    hot = min(HIGHEST_C, winding_c + uncertainty_c)
    return min(factors(system, cold).values()), max(factors(system, hot).values())


@lru_cache(maxsize=CACHED)
def dew_point_c(air_c: Decimal, humidity_percent: Decimal) -> Decimal:
    """Compute the dew point of the air in °C by the Magnus formula (a = 17.62, b = 243.12 °C, from memory).

    Args:
        air_c: Air temperature, -45 to 60 °C.
        humidity_percent: Relative humidity, above 0 to 100 %.

    Raises:
        ValueError: Outside those ranges.

    Example (TV-D22, Magnus formula):
        >>> round(dew_point_c(Decimal(25), Decimal(60)), 1)
        Decimal('16.7')
    """
    if not 0 < humidity_percent <= 100:
        raise ValueError("Relative humidity must be above 0 and at most 100 %.")
    if not MAGNUS_RANGE[0] <= air_c <= MAGNUS_RANGE[1]:
        raise ValueError("The dew point formula holds from -45 to 60 °C.")
    with localcontext(_EXACT):
        gamma = (humidity_percent / 100).ln() + MAGNUS_A * air_c / (MAGNUS_B + air_c)
        return MAGNUS_B * gamma / (MAGNUS_A - gamma)


def resistance_at(resistance: Decimal, from_c: Decimal, to_c: Decimal, zero_c: Decimal) -> Decimal:
    """Bring a winding resistance to another temperature: R (k + to)/(k + from).

    Args:
        resistance: Any unit.
        from_c: Temperature it was measured at, °C.
        to_c: Temperature wanted, °C.
        zero_c: k of the conductor, see `ZERO_RESISTANCE_C`.

    Raises:
        ValueError: A temperature at or below -k.

    Example (TV-F01, copper):
        >>> round(resistance_at(Decimal("0.8"), Decimal(35), Decimal(25), ZERO_RESISTANCE_C[Conductor.COPPER]), 4)
        Decimal('0.7703')
    """
    if min(from_c, to_c) <= -zero_c:
        raise ValueError(f"Temperatures must be above -{zero_c} °C.")
    return resistance * (zero_c + to_c) / (zero_c + from_c)


def temperature_from_resistance(cold: Decimal, cold_c: Decimal, hot: Decimal, zero_c: Decimal) -> Decimal:
    """Compute the winding temperature in °C: (hot/cold)(k + cold_c) - k (resistance method, IEC 60034-1).

    Raises:
        ValueError: The cold resistance is not above 0.

    Example (TV-F06, IEC 60034-1):
        >>> round(temperature_from_resistance(Decimal("0.8"), Decimal(22), Decimal("0.92"), Decimal("234.5")), 1)
        Decimal('60.5')
    """
    if cold <= 0:
        raise ValueError("The cold resistance must be above 0.")
    return hot / cold * (zero_c + cold_c) - zero_c


def _check(winding_c: Decimal) -> None:
    if not LOWEST_C <= winding_c <= HIGHEST_C:
        raise NotComparableError(
            f"The winding is at {winding_c} °C; the correction to 40 °C holds from {LOWEST_C} to {HIGHEST_C} °C, "
            "so the value is not comparable."
        )
