"""Instruments with their errors: what they show of an ideal value.

Figures by class of instrument are those of common practice (data sheets of hand-held testers; no source), the rest from
IEC 61557-2: at least 1 mA at 1000 Ω/V, at most 15 mA, at most 1.25 times the voltage selected.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from grading.measurement import Instrument, InstrumentKind
from grading.terms.quantity import Qualifier
from tests.grading.simulation.circuit import log_between
from tests.grading.simulation.healthy import M
from tests.grading.simulation.solver import settled

BUILDING_S = 3.0
"""Time constant with which a tester builds its voltage on a motor with cable, s. Common practice, no source."""


@dataclass(frozen=True)
class Shown:
    """What stands on a display.

    Attributes:
        qualifier: Equal, above, below, open, collapsed or none.
        digits: As shown, or None.
        unit: UCUM code.
        built_v: Voltage shown beside it, V, or None.
        unsteady: Still moving.
    """

    qualifier: Qualifier
    digits: str | None
    unit: str
    built_v: int | None = None
    unsteady: bool = False


@dataclass(frozen=True)
class Tester:
    """An insulation tester.

    Attributes:
        id: The shop's number.
        percent: Accuracy, ± percent of reading.
        counts: The same, ± counts.
        gain: Its own error, a share, within `percent`.
        offset: Its own error, counts, within `counts`.
        steps: Counts of the display: it changes range above that.
        range_end: Largest value by test voltage, ohm.
        limit_a: Current at which the voltage gives way, A.
        overshoot: Voltage without load over the one selected.
        arrow: Over range is shown as "> 4000 MΩ" rather than as "OL".
        shows_volts: The voltage on the terminals is shown.
        on_record: The shop has its data sheet.
    """

    id: str
    percent: float
    counts: int
    gain: float
    offset: float
    steps: int
    range_end: Mapping[int, float]
    limit_a: float
    overshoot: float
    arrow: bool
    shows_volts: bool
    on_record: bool

    def shows(self, ohm: Callable[[float], float], volts: int, seconds: float, rng: random.Random) -> Shown:
        """Show what it makes of an object.

        Args:
            ohm: The object's resistance at a voltage.
            volts: Voltage selected, V.
            seconds: Time since it was applied.
            rng: For the noise of one count.
        """
        wanted = volts * (1 - math.exp(-seconds / BUILDING_S))
        built, value = settled(ohm, wanted, self.limit_a)
        held = built >= 0.9 * volts
        shown_v = round(built * (self.overshoot if held else 1.0)) if self.shows_volts else None
        end = self.range_end[volts]
        if value > end:
            return self._over(end, shown_v)
        text, unit = self._digits(value, end, rng)
        if held:
            return Shown(Qualifier.EQUAL, text, unit, shown_v)
        style = rng.random()
        if style < 0.35 or (shown_v is None and style < 0.6):
            return Shown(Qualifier.COLLAPSED, None, unit, shown_v)
        if value < 0.01 * M and style < 0.6:
            return Shown(Qualifier.BELOW, "0.01", "MOhm", shown_v)
        return Shown(Qualifier.EQUAL, text, unit, shown_v)

    def _over(self, end: float, shown_v: int | None) -> Shown:
        if not self.arrow:
            return Shown(Qualifier.OPEN, None, "MOhm", shown_v)
        giga = end >= 10_000 * M
        return Shown(Qualifier.ABOVE, f"{end / M / (1000 if giga else 1):.0f}", "GOhm" if giga else "MOhm", shown_v)

    def resolution(self, value: float) -> float:
        """Give one count of the range that shows a value, ohm."""
        count = 0.01 * M
        while value > count * self.steps:
            count *= 10
        return count

    def _digits(self, value: float, end: float, rng: random.Random) -> tuple[str, str]:
        count = self.resolution(value)
        noise = rng.uniform(-0.5, 0.5)
        read = max(0.0, min(end, value * (1 + self.gain) + (self.offset + noise) * count))
        whole = round(read / count)
        if count >= 10 * M:
            places = 3 - round(math.log10(count / M))
            return f"{whole * count / M / 1000:.{max(0, places)}f}", "GOhm"
        places = max(0, 2 - round(math.log10(count / (0.01 * M))))
        return f"{whole * count / M:.{places}f}", "MOhm"

    def record(self) -> Instrument:
        """Give it as the shop's list has it."""
        return Instrument(
            self.id,
            InstrumentKind.INSULATION_TESTER,
            accuracy_percent=Decimal(str(self.percent)),
            accuracy_counts=Decimal(self.counts),
            range_end={volts: Decimal(round(end)) for volts, end in self.range_end.items()},
            resolution_ohm=Decimal(10_000),
            iec_61557_2=True,
        )


@dataclass(frozen=True)
class Meter:
    """An ohmmeter.

    Attributes:
        id: The shop's number.
        four_wire: A milliohmmeter.
        percent: Accuracy, ± percent of reading.
        counts: The same, ± counts.
        gain: Its own error, a share.
        offset: Its own error, counts.
        finest: Smallest count, ohm.
        steps: Counts of the display.
        end: Largest value, ohm.
        leads: Of its test leads, ohm (none with four wires).
        volts: What it drives, V.
        on_record: The shop has its data sheet.
        leads_known: The shop's list has the value of the leads.
    """

    id: str
    four_wire: bool
    percent: float
    counts: int
    gain: float
    offset: float
    finest: float
    steps: int
    end: float
    leads: float
    volts: float
    on_record: bool
    leads_known: bool

    def shows(self, ohm: Callable[[float], float], rng: random.Random, zeroed: bool = False) -> Shown:
        """Show what it makes of an object, its own leads zeroed or not."""
        value = ohm(self.volts) + (0.0 if zeroed else self.leads)
        if value > self.end:
            return Shown(Qualifier.OPEN, None, "MOhm" if self.end > M else "Ohm")
        count = self.resolution(value)
        read = max(0.0, value * (1 + self.gain) + (self.offset + rng.uniform(-0.5, 0.5)) * count)
        whole = round(read / count)
        unit, scale = ("Ohm", 1.0) if value < 2000 else ("kOhm", 1e3) if value < 2e6 else ("MOhm", 1e6)
        places = max(0, -math.floor(math.log10(count / scale) + 1e-9))
        return Shown(Qualifier.EQUAL, f"{whole * count / scale:.{places}f}", unit)

    def resolution(self, value: float) -> float:
        """Give one count of the range that shows a value, ohm."""
        count = self.finest
        while value > count * self.steps:
            count *= 10
        return count

    def record(self) -> Instrument:
        """Give it as the shop's list has it."""
        leads = Decimal(str(round(self.leads, 3))) if self.leads_known and not self.four_wire else None
        return Instrument(
            self.id,
            InstrumentKind.MILLIOHMMETER if self.four_wire else InstrumentKind.MULTIMETER,
            accuracy_percent=Decimal(str(self.percent)),
            accuracy_counts=Decimal(self.counts),
            range_end={0: Decimal(round(self.end))},
            resolution_ohm=Decimal(str(self.finest)),
            lead_resistance_ohm=leads,
        )


def draw_tester(rng: random.Random) -> Tester:
    """Draw an insulation tester."""
    percent, counts = rng.choice(((3.0, 5), (5.0, 5), (2.0, 2), (10.0, 5)))
    top = rng.choice((2000, 4000, 11_000)) * M
    return Tester(
        id="IT-03",
        percent=percent,
        counts=counts,
        gain=rng.uniform(-0.9, 0.9) * percent / 100,
        offset=rng.uniform(-0.7, 0.7) * (counts - 0.5),
        steps=rng.choice((2000, 4000, 6000)),
        range_end={50: 200 * M, 100: 400 * M, 250: top / 4, 500: top / 2 if top > 5000 * M else top, 1000: top},
        limit_a=log_between(rng, 1.05e-3, 6e-3),
        overshoot=rng.uniform(1.0, 1.2),
        arrow=rng.random() < 0.7,
        shows_volts=rng.random() < 0.7,
        on_record=rng.random() < 0.7,
    )


def draw_meter(rng: random.Random, name: str = "M-07", *, four_wire: bool = True) -> Meter:
    """Draw an ohmmeter: a general multimeter, a better one, or (where `four_wire`) a milliohmmeter."""
    kind = rng.choices(("coarse", "fine", "four"), (15, 50, 35 * four_wire))[0]
    percent, counts = {"coarse": (1.0, 5), "fine": (0.9, 2), "four": (0.3, 3)}[kind]
    four = kind == "four"
    return Meter(
        id=name,
        four_wire=four,
        percent=percent,
        counts=counts,
        gain=rng.uniform(-0.9, 0.9) * percent / 100,
        offset=rng.uniform(-0.7, 0.7) * (counts - 0.5),
        finest={"coarse": 0.1, "fine": 0.01, "four": 0.0001}[kind],
        steps={"coarse": 4000, "fine": 6000, "four": 20_000}[kind],
        end=2000.0 if four else rng.choice((20, 40, 60)) * M,
        leads=0.0 if four else rng.uniform(0.05, 0.3),
        volts=rng.uniform(0.3, 3),
        on_record=rng.random() < 0.7,
        leads_known=rng.random() < 0.6,
    )
