"""Which of a job's instruments made a reading, where nobody said so, and where its range ends."""

from __future__ import annotations

from collections.abc import Sequence

from api.ledger.canonical import parsed
from api.ledger.tables import InstrumentRow
from capture.reading import Reading
from grading.measurement import InstrumentKind
from grading.terms.quantity import QuantityKind

_USUAL: dict[QuantityKind, tuple[InstrumentKind, ...]] = {
    QuantityKind.INSULATION_RESISTANCE: (InstrumentKind.INSULATION_TESTER,),
    QuantityKind.RESISTANCE_TO_GROUND: (InstrumentKind.MULTIMETER,),
    QuantityKind.CONTINUITY: (InstrumentKind.MULTIMETER,),
    QuantityKind.VOLTAGE: (InstrumentKind.MULTIMETER,),
    QuantityKind.WINDING_RESISTANCE: (InstrumentKind.MILLIOHMMETER, InstrumentKind.MULTIMETER),
    QuantityKind.TEMPERATURE: (InstrumentKind.THERMOMETER,),
    QuantityKind.HUMIDITY: (InstrumentKind.HYGROMETER,),
}
"""The usual kind of instrument for a quantity, best first (common practice, no source)."""


def usual_instrument(instruments: Sequence[InstrumentRow], reading: Reading) -> InstrumentRow | None:
    """Give the one instrument of the usual kind for a quantity; None where there is none or more than one.

    The proposal shows it, and a person can name another.
    """
    if reading.kind is None:
        return None
    for kind in _USUAL.get(reading.kind, ()):
        found = [instrument for instrument in instruments if instrument.kind == kind.value]
        if found:
            return found[0] if len(found) == 1 else None
    return None


def instrument_for(
    instruments: Sequence[InstrumentRow], reading: Reading, named: str | None = None
) -> tuple[str | None, bool]:
    """Give the instrument's id, and whether "over range" on it means more than a known value.

    An insulation tester's range ends elsewhere at each test voltage, so none is known before the voltage is.

    Args:
        instruments: The job's.
        reading: What was read.
        named: Id of the one that a person named; None for the usual one.
    """
    chosen = next((instrument for instrument in instruments if instrument.id == named), None)
    instrument = chosen or usual_instrument(instruments, reading)
    if instrument is None:
        return None, False
    volts = reading.test_voltage_set
    if reading.kind is not QuantityKind.INSULATION_RESISTANCE:
        key: str | None = "0"
    else:
        key = None if volts is None else format(volts, "f")
    return instrument.id, key is not None and key in parsed(instrument.description_json)["range_end"]
