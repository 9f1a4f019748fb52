"""What a confirmed row leaves possible of the true value, from the row and the instruments on record alone.

Written apart from grading's own `reading.py`, from the same publications, so that an error there is seen here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from grading.measurement import Instrument, InstrumentKind
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier
from tests.grading.simulation.bench import CORE, IR, LG, LL, VOLTS
from tests.grading.simulation.technician import Entry

SCALE = {"uOhm": 1e-6, "mOhm": 1e-3, "Ohm": 1.0, "kOhm": 1e3, "MOhm": 1e6, "GOhm": 1e9, "TOhm": 1e12}
VOLT_SCALE = {"mV": 1e-3, "V": 1.0, "kV": 1e3}
OPERATING_ERROR = 0.30
"""Of any insulation tester that meets IEC 61557-2:2019, 6.2 (read)."""
OHMS_PER_VOLT = 1000
"""A tester holds its voltage down to this load: IEC 61557-2:2019, 6.4 (read)."""
OHM_ERROR, OHM_COUNTS = 0.01, 5
"""Of an ohmmeter without a data sheet: the wide end of the class. Common practice, no source."""
LEADS_MOST_OHM = 0.5
"""Of test leads that nobody measured, ohm. Common practice, no source (0.1 to 0.5 Ω)."""
SHORTEST_RANGE_OHM = 200.0
"""Least that "OL" says without a data sheet: the lowest range of a multimeter. Common practice, no source."""

SOONEST_S, LATEST_S = 15.0, 90.0
"""When a value is read whose time nobody noted, s. Common practice, no source."""

LEAST_COUNT_INSULATION, LEAST_COUNT_OHM, FEWEST_COUNTS = 10_000.0, 0.1, 200
"""Coarsest count of a lowest range, ohm, and what a digital display has above it. Common practice, no source."""


@dataclass(frozen=True)
class Possible:
    """What a row leaves possible.

    Attributes:
        entry: The row.
        low: Least true value, ohm or V.
        high: Largest; infinity where the row sets none.
        count: One count of the last digit, the same unit; 0 without digits.
        tight: Low and high by the counts alone, for ratios of readings of one instrument, whose gain cancels.
    """

    entry: Entry
    low: float
    high: float
    count: float = 0.0
    tight: tuple[float, float] = (0.0, math.inf)

    @property
    def id(self) -> str:
        """Record id."""
        return self.entry.measurement.record_id

    @property
    def seconds(self) -> tuple[float, float]:
        """Least and most time under voltage, s; where it is not noted it was from `SOONEST_S` to `LATEST_S`."""
        elapsed = self.entry.measurement.elapsed_s
        return (SOONEST_S, LATEST_S) if elapsed is None else (float(elapsed), float(elapsed))

    @property
    def volts(self) -> float:
        """Test voltage selected, V."""
        return float(self.entry.measurement.test_voltage_set or 0)


def possible(entry: Entry, instruments: Mapping[str, Instrument]) -> Possible | None:
    """Give what a row leaves possible; None where it says nothing."""
    m = entry.measurement
    quantity = m.quantity
    instrument = instruments.get(m.instrument_id or "")
    scale = (VOLT_SCALE if m.kind is VOLTS else SCALE).get(quantity.unit or "")
    if scale is None or quantity.qualifier is Qualifier.NONE:
        return None
    if _collapsed(entry):
        held = Possible(entry, 0.0, OHMS_PER_VOLT * float(m.test_voltage_set or 1000))
        return None if Circumstance.UNSTEADY in m.circumstances else held  # it may still be charging
    value = None if quantity.digits is None else float(quantity.digits) * scale
    if quantity.qualifier in (Qualifier.OPEN, Qualifier.ABOVE):
        return Possible(entry, _range_end(entry, instrument) if value is None else value, math.inf)
    if value is None or quantity.digits is None:
        return None
    if quantity.qualifier is Qualifier.BELOW:
        return Possible(entry, 0.0, value)
    return _point(entry, value, scale * 10.0 ** -len(quantity.digits.partition(".")[2]), instrument)


def _collapsed(entry: Entry) -> bool:
    m = entry.measurement
    if m.kind is not IR or m.test_voltage_set is None or m.test_voltage_built is None:
        return m.quantity.qualifier is Qualifier.COLLAPSED
    return m.quantity.qualifier is Qualifier.COLLAPSED or m.test_voltage_built < m.test_voltage_set * 9 / 10


def _point(entry: Entry, value: float, count: float, instrument: Instrument | None) -> Possible:
    m = entry.measurement
    if m.kind is VOLTS:
        return Possible(entry, value * 0.98 - 5 * count, value * 1.02 + 5 * count, count)
    if instrument is not None and instrument.accuracy_percent is not None:
        share, counts = float(instrument.accuracy_percent) / 100, float(instrument.accuracy_counts or 0)
    else:
        share, counts = (OPERATING_ERROR, 1.0) if m.kind is IR else (OHM_ERROR, OHM_COUNTS)
    # Fewer digits written down than the display has: then half of the last one is rounding, and a count is finer.
    finest = LEAST_COUNT_INSULATION if m.kind is IR else LEAST_COUNT_OHM
    shown = min(count, max(finest, value / FEWEST_COUNTS))
    width = counts * shown + (count / 2 if count > shown else 0.0)
    low, high = value - width, value + width
    by_leads = _leads(entry, instrument) if m.kind in (LL, CORE) else (0.0, 0.0)
    return Possible(
        entry,
        max(0.0, low - share * value - by_leads[1]),
        high + share * value - by_leads[0],
        count,
        (max(0.0, low - by_leads[1]), high - by_leads[0]),
    )


def _leads(entry: Entry, instrument: Instrument | None) -> tuple[float, float]:
    """Give the least and most that the meter's leads add, ohm."""
    if Circumstance.LEADS_ZEROED in entry.measurement.circumstances:
        return 0.0, 0.0
    if instrument is None:
        return 0.0, LEADS_MOST_OHM
    if instrument.kind is InstrumentKind.MILLIOHMMETER:
        return 0.0, 0.0
    if instrument.lead_resistance_ohm is None:
        return 0.0, LEADS_MOST_OHM
    known = float(instrument.lead_resistance_ohm)
    return known, known


def _range_end(entry: Entry, instrument: Instrument | None) -> float:
    """Give the least that "over range" says without digits, ohm."""
    m = entry.measurement
    if m.kind is IR:
        ends = {} if instrument is None else instrument.range_end
        known = [float(end) for volts, end in ends.items() if volts == m.test_voltage_set]
        return known[0] if known else 0.0
    known = [] if instrument is None else [float(end) for volts, end in instrument.range_end.items() if volts == 0]
    if known:
        return known[0]
    return SHORTEST_RANGE_OHM if m.kind is not LG else 0.0


def cannot_stand(entry: Entry, instruments: Mapping[str, Instrument]) -> bool:
    """Tell whether the instrument on record could not show the row: finer than its resolution, or above its range.

    An insulation tester shows nothing between zero and a kilohm, whoever made it (common practice, no source).
    """
    m = entry.measurement
    scale = SCALE.get(m.quantity.unit or "")
    if scale is None or m.quantity.digits is None or m.kind not in (IR, LL, LG, CORE):
        return False
    value = float(m.quantity.digits) * scale
    if m.kind is IR:
        instrument = instruments.get(m.instrument_id or "")
        ends = {} if instrument is None else instrument.range_end
        top = max((float(end) for end in ends.values()), default=math.inf)
        return 0 < value < 1000 or m.quantity.unit in ("Ohm", "mOhm", "uOhm") or value > 1.01 * top
    instrument = instruments.get(m.instrument_id or "")
    if instrument is None or instrument.resolution_ohm is None:
        return False
    count = scale * 10.0 ** -len(m.quantity.digits.partition(".")[2])
    end = float(instrument.range_end.get(0, math.inf))
    return count < 0.99 * float(instrument.resolution_ohm) or value > 1.01 * end
