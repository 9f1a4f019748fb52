"""Which test a spoken value belongs to, and whether the value can be.

"Wide open" is good to ground and fatal lead to lead, so the test is never guessed: it follows from the words of the
utterance, else from what is being tested, else it stays unknown and is asked about.
"""

from __future__ import annotations

from decimal import Decimal

from capture.language.items import Topic
from capture.reading import Context, Doubt, Reading
from grading.terms.quantity import DIMENSION_OF_KIND, Qualifier, Quantity, QuantityKind, unit

_RESISTANCES = frozenset(kind for kind, dimension in DIMENSION_OF_KIND.items() if dimension == "resistance")
_KIND_OF_DIMENSION = {dimension: kind for kind, dimension in DIMENSION_OF_KIND.items() if dimension != "resistance"}
_TO_GROUND = frozenset({QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND})
_HIGH_UNITS = frozenset({"MOhm", "GOhm", "TOhm"})

PLAUSIBLE: dict[QuantityKind, tuple[str, Decimal, Decimal]] = {
    # Practice, no standard: a winding of a servo or spindle motor is below 100 ohms, and a value
    # below 0.1 milliohm is beyond field meters.
    QuantityKind.WINDING_RESISTANCE: ("Ohm", Decimal("0.0001"), Decimal(100)),
    # Insulation testers of the trade show 0.001 MOhm to 10 TOhm.
    QuantityKind.INSULATION_RESISTANCE: ("MOhm", Decimal(0), Decimal(10_000_000)),
    # No multimeter shows more than a few hundred megohms.
    QuantityKind.RESISTANCE_TO_GROUND: ("MOhm", Decimal(0), Decimal(1000)),
    QuantityKind.CONTINUITY: ("Ohm", Decimal(0), Decimal(1_000_000)),
    # Air and windings between a cold hall and the hottest insulation class with margin (class 220).
    QuantityKind.TEMPERATURE: ("Cel", Decimal(-50), Decimal(250)),
    QuantityKind.HUMIDITY: ("%", Decimal(0), Decimal(100)),
}
"""Unit, least and greatest value that a spoken reading of a kind may have without being asked about."""

OVERSHOOT = Decimal("1.25")
"""An insulation tester's open-circuit voltage is at most 1.25 times its nominal voltage (IEC 61557-2)."""


def to_ground(terminals: str | None) -> bool:
    """Tell whether a test point is between a lead and ground."""
    return terminals is not None and terminals.endswith(("-PE", "-ground"))


def kind_of(
    topic: Topic | None, quantity: Quantity, terminals: str | None, *, high_voltage: bool, context: Context
) -> QuantityKind | None:
    """Determine the test that a value belongs to.

    Args:
        topic: What the words name ("insulation", "ohmmeter"), or None.
        quantity: The value.
        terminals: The test point said in this utterance, or None.
        high_voltage: A test voltage or its collapse was mentioned.
        context: What held before.

    Returns:
        The kind, or None when neither words nor context tell.
    """
    # Only resistances belong to several tests; any other unit settles the kind by itself.
    if quantity.unit is not None and unit(quantity.unit).dimension != "resistance":
        return _KIND_OF_DIMENSION[unit(quantity.unit).dimension]
    named = _kind_named(topic, terminals)
    if named is not None:
        return named
    if high_voltage or quantity.qualifier is Qualifier.COLLAPSED:
        return QuantityKind.INSULATION_RESISTANCE
    if terminals is None:
        return context.kind if context.kind in _RESISTANCES or quantity.unit is None else None
    return _kind_at(terminals, quantity, context)


def _kind_at(terminals: str, quantity: Quantity, context: Context) -> QuantityKind | None:
    """Determine what is measured at a test point: to ground it may be either instrument, so the context must tell."""
    if not to_ground(terminals):
        return QuantityKind.WINDING_RESISTANCE
    if context.kind in (QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND):
        return context.kind
    # With a test voltage set, megohms to ground come from the insulation tester; an ohmmeter has no test voltage.
    under_voltage = context.test_voltage_set is not None and quantity.unit in _HIGH_UNITS
    return QuantityKind.INSULATION_RESISTANCE if under_voltage else None


def _kind_named(topic: Topic | None, terminals: str | None) -> QuantityKind | None:
    """Tell what the words name; an ohmmeter from lead to lead measures the winding."""
    if topic is None:
        return None
    lead_to_lead = terminals is not None and not to_ground(terminals)
    if topic.kind is QuantityKind.RESISTANCE_TO_GROUND and lead_to_lead:
        return QuantityKind.WINDING_RESISTANCE
    return topic.kind if not topic.weak or to_ground(terminals) else None


def measures(topic: Topic | None, quantity: Quantity) -> bool:
    """Tell whether a value can belong to the test that was named: "insulation five celsius" cannot."""
    if topic is None or quantity.unit is None:
        return True
    return DIMENSION_OF_KIND[topic.kind] == unit(quantity.unit).dimension


def doubts_about(reading: Reading) -> list[Doubt]:
    """List what about a finished reading must be asked, apart from how its words were said."""
    doubts: list[Doubt] = []
    quantity = reading.quantity
    if quantity.digits is not None and quantity.unit is None:
        doubts.append(Doubt.UNIT_MISSING)
    if quantity.qualifier is Qualifier.COLLAPSED and reading.test_voltage_built is None:
        doubts.append(Doubt.BUILT_VOLTAGE_UNKNOWN)
    if quantity.qualifier is Qualifier.SHORT and reading.kind is QuantityKind.WINDING_RESISTANCE:
        doubts.append(Doubt.VALUE_MISSING)  # a low-ohm winding is nearly a short anyway: give the number
    if reading.kind is None and (quantity.unit is not None or quantity.digits is None):
        doubts.append(Doubt.QUANTITY_MISSING)
    if not plausible(reading):
        doubts.append(Doubt.IMPLAUSIBLE)
    return doubts


def plausible(reading: Reading) -> bool:
    """Tell whether value and voltages lie where readings of their kind can lie."""
    asked, built = reading.test_voltage_set, reading.test_voltage_built
    if asked is not None and built is not None and built > asked * OVERSHOOT:
        return False
    quantity = reading.quantity
    if reading.kind not in PLAUSIBLE or quantity.unit is None or quantity.digits is None:
        return True
    code, least, greatest = PLAUSIBLE[reading.kind]
    if unit(code).dimension != unit(quantity.unit).dimension:
        return False
    if reading.kind in _TO_GROUND and quantity.unit in ("mOhm", "uOhm"):
        return False  # milli said or heard for mega or million
    value = quantity.in_unit(code)
    assert value is not None
    # A shorted winding may read zero, and a bound may lie anywhere below or above.
    return value <= greatest and (value >= least or value == 0 or quantity.qualifier is Qualifier.BELOW)
