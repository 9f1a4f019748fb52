"""What one kind of instrument can show: its ranges with digits, point, unit and end, and what it shows beyond them.

A misread point is a factor of ten or more, and a lost ">" turns "more than 4000" into a measured 4000. An instrument
shows only few formats, so most such errors give a string that it cannot show. `Profile.possibility` tells a possible
string from an unlikely one (asked about) and an impossible one (refused). It never raises the reader's confidence.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from grading.terms.quantity import UNITS, Qualifier, Quantity, parse_digits

MIN_LEARNT = 8
"""Confirmed readings of one unit from which a format never seen among them is asked about (program's rule)."""


class Possibility(StrEnum):
    """Whether an instrument shows a string."""

    POSSIBLE = "possible"
    UNLIKELY = "unlikely"
    IMPOSSIBLE = "impossible"


@dataclass(frozen=True)
class Range:
    """One range.

    Attributes:
        unit: UCUM code.
        top: The largest number that the range shows, written as it shows it: "40.00" says two decimals, four digits.
        bottom: The smallest that is usual: an instrument that chooses its range shows less in a finer one.
        test_voltage: Test voltages at which it is there, V; empty for any.
        negative: Whether it shows numbers below nothing.
        leading_zeros: Whether it shows "00.80" where others show "0.80".
    """

    unit: str
    top: str
    bottom: str = "0"
    test_voltage: tuple[Decimal, ...] = ()
    negative: bool = False
    leading_zeros: bool = False

    @property
    def decimals(self) -> int:
        """Digits after the point."""
        return len(self.top.partition(".")[2])

    @property
    def digits(self) -> int:
        """Digits in all."""
        return sum(c.isdigit() for c in self.top)

    def at(self, voltage: Decimal | None) -> bool:
        """Tell whether the range is there at a test voltage; an unknown one may be any."""
        return voltage is None or not self.test_voltage or voltage in self.test_voltage

    def fits(self, digits: str) -> bool:
        """Tell whether the range shows these digits, usual or not."""
        sign, number = digits.startswith("-"), digits.lstrip("-").removesuffix(".")
        whole, _, after = number.partition(".")
        padded = len(whole) > 1 and whole.startswith("0")
        if (sign and not self.negative) or (padded and not self.leading_zeros) or len(after) != self.decimals:
            return False
        return len(whole) + len(after) <= self.digits and parse_digits(number) <= parse_digits(self.top)


@dataclass(frozen=True)
class Over:
    """What is shown beyond the end of the ranges.

    Attributes:
        shown: ">4000" for a sign before the end, "OL" for letters.
        unit: UCUM code of the end; None where letters are shown.
        test_voltage: Test voltages at which it is shown, V; empty for any.
    """

    shown: str
    unit: str | None = None
    test_voltage: tuple[Decimal, ...] = ()

    @property
    def end(self) -> str | None:
        """The digits after the sign; None for letters."""
        return self.shown.removeprefix(">") if self.shown.startswith(">") else None

    def at(self, voltage: Decimal | None) -> bool:
        """Tell whether it is shown at a test voltage; an unknown one may be any."""
        return voltage is None or not self.test_voltage or voltage in self.test_voltage


@dataclass(frozen=True)
class Profile:
    """What an instrument can show.

    Attributes:
        name: Short, for files and options.
        title: For people.
        ranges: Its ranges.
        overs: What it shows beyond them; empty where nobody said.
        source: Where the figures come from.
        learnt: Gathered from confirmed readings: what is missing in it is asked about, never refused.
    """

    name: str
    title: str
    ranges: tuple[Range, ...]
    overs: tuple[Over, ...] = ()
    source: str = ""
    learnt: bool = False

    def units_for(self, digits: str, voltage: Decimal | None = None) -> tuple[str, ...]:
        """Give the units in which these digits can be shown, each once."""
        return tuple(dict.fromkeys(r.unit for r in self.ranges if r.at(voltage) and r.fits(digits)))

    def possibility(self, quantity: Quantity, voltage: Decimal | None = None) -> tuple[Possibility, str]:
        """Tell whether the instrument shows this.

        Args:
            quantity: Digits as shown, unit (None: not known) and qualifier.
            voltage: Test voltage selected, V; None where it is not known.

        Returns:
            The verdict and, unless possible, why: the end of a sentence that begins with what was read.
        """
        found, why = self._possibility(quantity, voltage)
        if self.learnt and found is Possibility.IMPOSSIBLE:
            return Possibility.UNLIKELY, why
        return found, why

    def _possibility(self, quantity: Quantity, voltage: Decimal | None) -> tuple[Possibility, str]:
        if quantity.qualifier is Qualifier.ABOVE:
            return self._beyond(quantity, voltage)
        if quantity.digits is None:
            return Possibility.POSSIBLE, ""
        own = [r for r in self.ranges if quantity.unit in (None, r.unit)]
        fitting = [r for r in own if r.fits(quantity.digits)]
        if fitting:
            return self._usual(quantity.digits, quantity.unit, fitting, voltage)
        if own:
            tops = ", ".join(dict.fromkeys(f"{r.top} {_symbol(r.unit)}" for r in own))
            return Possibility.IMPOSSIBLE, f"its ranges show up to {tops}, with just those decimals"
        if self.learnt:
            return Possibility.POSSIBLE, ""  # a unit that was never confirmed tells nothing yet
        return Possibility.IMPOSSIBLE, f"it has no {_symbol(quantity.unit)} range"

    def _usual(
        self, digits: str, unit: str | None, fitting: list[Range], voltage: Decimal | None
    ) -> tuple[Possibility, str]:
        """Tell whether digits that some ranges show are usual there."""
        here = [r for r in fitting if r.at(voltage)]
        if not here:
            return Possibility.UNLIKELY, f"not at a test voltage of {voltage} V"
        value = abs(parse_digits(digits))
        if all(value < parse_digits(r.bottom) for r in here) and value != 0:
            return Possibility.UNLIKELY, "it usually shows so little in a finer range"
        ends = {over.end for over in self.overs if over.unit == unit and over.end is not None}
        if any(value == parse_digits(end) for end in ends):
            return Possibility.UNLIKELY, 'it is the very end of the range, where a ">" belongs before it'
        return Possibility.POSSIBLE, ""

    def _beyond(self, quantity: Quantity, voltage: Decimal | None) -> tuple[Possibility, str]:
        """Tell whether an over-range display, letters or a sign, is shown as the instrument shows it."""
        if not self.overs:
            return Possibility.POSSIBLE, ""
        letters = [over for over in self.overs if over.end is None]
        signed = [over for over in self.overs if over.end is not None and quantity.unit in (None, over.unit)]
        shown = " or ".join(dict.fromkeys(f"{o.shown} {_symbol(o.unit)}".strip() for o in self.overs))
        if quantity.digits is None:
            return (
                (Possibility.POSSIBLE, "")
                if letters
                else (Possibility.IMPOSSIBLE, f"it shows {shown} beyond its range")
            )
        number = parse_digits(quantity.digits)
        # A range has one end, so any other number behind ">" was misread.
        same = [o for o in signed if o.end is not None and parse_digits(o.end) == number]
        if not same:
            return Possibility.IMPOSSIBLE, f"it shows {shown} beyond its range"
        if not any(o.at(voltage) for o in same):
            return Possibility.UNLIKELY, f"not at a test voltage of {voltage} V"
        return Possibility.POSSIBLE, ""

    def to_json(self) -> dict[str, Any]:
        """Give plain data, in the form that `profile_files.read_profile` takes."""

        def volts(voltages: tuple[Decimal, ...]) -> dict[str, list[str]]:
            return {"test_voltage": [format(v, "f") for v in voltages]} if voltages else {}

        ranges = [
            {
                "unit": r.unit, "top": r.top, "bottom": r.bottom, "negative": r.negative,
                "leading_zeros": r.leading_zeros, **volts(r.test_voltage),
            }
            for r in self.ranges
        ]  # fmt: skip
        overs = [
            {"shown": o.shown, **({} if o.unit is None else {"unit": o.unit}), **volts(o.test_voltage)}
            for o in self.overs
        ]
        return {"name": self.name, "title": self.title, "source": self.source, "range": ranges, "over": overs}


def _symbol(unit: str | None) -> str:
    return "" if unit is None else UNITS[unit].symbol


def learnt(name: str, title: str, confirmed: Iterable[tuple[str, str]]) -> Profile | None:
    """Learn a profile from the confirmed readings of one instrument.

    Args:
        name: Of the instrument.
        title: Of the instrument, for people.
        confirmed: Main string as shown ("34.70", ">4000") and unit of every confirmed photo.

    Returns:
        A profile that knows the formats of each unit with at least `MIN_LEARNT` readings; None if there is none.
    """
    formats: Counter[tuple[str, int, int]] = Counter()
    signed: set[str] = set()
    overs: list[Over] = []
    for text, unit in confirmed:
        if unit not in UNITS:
            continue
        if text.startswith(">"):
            overs.append(Over(text.replace(" ", ""), unit))
        elif match := re.fullmatch(r"(-?)(\d+)(?:\.(\d*))?", text):
            formats[unit, len(match[2]) + len(match[3] or ""), len(match[3] or "")] += 1
            signed |= {unit} if match[1] else set()
    totals: Counter[str] = Counter()
    for (unit, _, _), count in formats.items():
        totals[unit] += count
    ranges = tuple(
        Range(unit, _nines(digits, decimals), negative=unit in signed, leading_zeros=True)
        for unit, digits, decimals in sorted(formats)
        if totals[unit] >= MIN_LEARNT
    )
    if not ranges:
        return None
    kept = tuple(dict.fromkeys(o for o in overs if totals[o.unit or ""] >= MIN_LEARNT))
    source = f"{sum(totals[unit] for unit in {r.unit for r in ranges})} confirmed photos"
    return Profile(name, title, ranges, kept, source, learnt=True)


def _nines(digits: int, decimals: int) -> str:
    whole = "9" * max(1, digits - decimals)
    return f"{whole}.{'9' * decimals}" if decimals else whole
