"""What was said before may fill the gap of a later value only where it can belong to it.

A test carried forward must be able to show the unit: 1.10 ohms after an insulation test are no insulation resistance.
"""

from __future__ import annotations

from grading.terms.quantity import Quantity, QuantityKind

_SHOWN: dict[QuantityKind, frozenset[str]] = {
    # Insulation testers show 0.001 megohms and up; what is shown in ohms comes from another range or instrument.
    QuantityKind.INSULATION_RESISTANCE: frozenset({"kOhm", "MOhm", "GOhm", "TOhm"}),
    # A winding of a servo or spindle motor is below 100 ohms (`capture.language.kinds.PLAUSIBLE`).
    QuantityKind.WINDING_RESISTANCE: frozenset({"uOhm", "mOhm", "Ohm", "kOhm"}),
    # No multimeter shows gigohms, and none less than tenths of an ohm to ground.
    QuantityKind.RESISTANCE_TO_GROUND: frozenset({"Ohm", "kOhm", "MOhm"}),
    QuantityKind.CONTINUITY: frozenset({"uOhm", "mOhm", "Ohm", "kOhm", "MOhm"}),
}
"""Units that an instrument shows in each test (common practice of the trade, no source)."""


def can_carry(kind: QuantityKind | None, quantity: Quantity) -> bool:
    """Tell whether a test that was named before can be the one that gave a value."""
    return kind not in _SHOWN or quantity.unit is None or quantity.unit in _SHOWN[kind]
