"""What a photo warns of, whatever else it shows: voltage on the leads, a live circuit, a battery that is low.

An annunciator counts even where the reading beside it is refused. Nothing here ever says that something is safe.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from capture.reading import DisplayReading, Seen
from grading.terms.quantity import UNITS, Qualifier, Quantity

LIVE_V = Decimal(30)
"""Volts on the leads from which insulation testers warn and refuse (common practice of the class, no source)."""


@dataclass(frozen=True)
class Caution:
    """One warning: a stable code, and the sentence that is shown and spoken."""

    code: str
    sentence: str


HIGH_VOLTAGE = Caution(
    "high_voltage",
    "Caution: the display shows the high-voltage symbol. Do not touch leads or terminals before the test has ended and "
    "they are discharged and measured.",
)
LOW_BATTERY = Caution("low_battery", "The display shows a low battery: its accuracy is not assured.")
HOLD = Caution("hold", "The display is on hold: make sure that it shows this reading.")
ZERO = Caution("zero", "A zero offset is already subtracted on the display: do not subtract the leads again.")
_ANNUNCIATORS = {"hv": HIGH_VOLTAGE, "bat_low": LOW_BATTERY, "hold": HOLD, "zero": ZERO}


def cautions_of(seen: Seen) -> list[Caution]:
    """Give the warnings of a photo, the most serious first, each once."""
    found = [caution for display in seen.displays for caution in _live(display)]
    for name, caution in _ANNUNCIATORS.items():
        if any(name in display.secondary for display in seen.displays):
            found.append(caution)
    return list(dict.fromkeys(found))


def _live(display: DisplayReading) -> list[Caution]:
    """Warn of a voltage from outside: a volt reading, or volts on the terminals while there is no reading."""
    volts = _volts(display.quantity)
    if volts is None and display.text and display.quantity.qualifier is Qualifier.NONE:  # dashes, not a blank
        volts = _number(display.secondary.get("test_voltage"))
    if volts is None or abs(volts) < LIVE_V:
        return []
    sentence = (
        f"Caution: the display shows {format(volts.normalize(), 'f')} V. The circuit may be live or charged: stop, "
        "keep clear, and prove it dead again before anyone touches it."
    )
    return [Caution("live_circuit", sentence)]


def _volts(quantity: Quantity) -> Decimal | None:
    """Give the value in volts; None for anything that is no voltage."""
    if quantity.unit is None or UNITS[quantity.unit].dimension != "voltage" or quantity.value is None:
        return None
    return quantity.in_unit("V")


def _number(text: str | None) -> Decimal | None:
    try:
        number = Decimal(text or "")
    except InvalidOperation:
        return None
    return number if number.is_finite() else None
