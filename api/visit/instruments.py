"""Which of a job's instruments made a reading, where nobody said so, and where its range ends."""

from __future__ import annotations

from collections.abc import Sequence

from sqlmodel import Session

from api.ledger.canonical import parsed
from api.ledger.tables import InstrumentRow
from api.visit.jobs import instruments_of
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


def usual_instrument(session: Session, job_id: str, reading: Reading) -> str | None:
    """The job's one instrument of the usual kind for a quantity; None where there is none or more than one.

    The proposal shows it, and a person can name another.
    """
    return usual_among(instruments_of(session, job_id), reading)


def usual_among(instruments: Sequence[InstrumentRow], reading: Reading) -> str | None:
    """As `usual_instrument`, among these."""
    if reading.kind is None:
        return None
    for kind in _USUAL.get(reading.kind, ()):
        found = [instrument for instrument in instruments if instrument.kind == kind.value]
        if found:
            return found[0].id if len(found) == 1 else None
    return None


def has_range_end(session: Session, instrument_id: str | None, reading: Reading) -> bool:
    """Whether "over range" on this instrument means more than a known value at the test voltage set."""
    instrument = None if instrument_id is None else session.get(InstrumentRow, instrument_id)
    if instrument is None:
        return False
    insulation = reading.kind is QuantityKind.INSULATION_RESISTANCE
    if insulation and reading.test_voltage_set is None:
        return False
    key = format(reading.test_voltage_set, "f") if insulation and reading.test_voltage_set is not None else "0"
    return key in parsed(instrument.description_json)["range_end"]
