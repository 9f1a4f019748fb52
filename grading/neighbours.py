"""Readings whose unit alone sets them apart from others, looked up in sorted lists instead of pair by pair.

The same digits with another prefix: brought to the other's unit, such a reading agrees with the other, and as written
it does not. Which values agree with one is a stretch of the values in order, so its ends are found by halving.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from operator import itemgetter

from grading.measurement import Measurement
from grading.terms.quantity import unit
from grading.terms.record import record


@record
class SizedReading:
    """A reading with its value and half of its last digit, ohm."""

    measurement: Measurement
    value: Decimal
    half: Decimal

    @property
    def unit(self) -> str:
        """UCUM code of its unit; ohm where it has none."""
        return self.measurement.quantity.unit or "Ohm"

    @property
    def digits(self) -> tuple[str, Decimal, Decimal]:
        """What it is compared by."""
        return self.unit, self.value, self.half


_Row = tuple[Decimal, int]
_VALUE = itemgetter(0)


class Neighbours:
    """A group of readings, by unit and last digit, each sorted by value."""

    def __init__(self, group: Sequence[SizedReading], within: Decimal) -> None:
        """Sort the group.

        Args:
            group: Readings of one circuit.
            within: Share by which two values that agree may differ, 0 and more.
        """
        self._within = within
        rows: dict[tuple[str, Decimal], list[_Row]] = {}
        for index, one in enumerate(group):
            rows.setdefault((one.unit, one.half), []).append((one.value, index))
        self._rows = {key: sorted(own) for key, own in rows.items()}
        self._of_unit = Counter(one.unit for one in group)
        self._found: dict[tuple[str, Decimal, Decimal], list[tuple[list[_Row], int, int]]] = {}

    def apart(self, one: SizedReading) -> Iterator[int]:
        """Give the places in the group of those that a reading differs from by its unit alone, in no order."""
        for rows, start, stop in self._stretches(one):
            yield from (index for _, index in rows[start:stop])

    def rank(self, one: SizedReading) -> tuple[int, int]:
        """Rank a reading among the others: differing by its unit from few, then sharing its unit with many."""
        return -sum(stop - start for _, start, stop in self._stretches(one)), self._of_unit[one.unit]

    def _stretches(self, one: SizedReading) -> list[tuple[list[_Row], int, int]]:
        if one.digits not in self._found:
            self._found[one.digits] = [found for found in self._search(one) if found[1] < found[2]]
        return self._found[one.digits]

    def _search(self, one: SizedReading) -> Iterator[tuple[list[_Row], int, int]]:
        for (code, half), rows in self._rows.items():
            if code == one.unit:
                continue
            factor = unit(code).factor / unit(one.unit).factor
            start, stop = self._agreeing(rows, one.value * factor, one.half * factor + half)
            begin, end = self._agreeing(rows, one.value, one.half + half)
            yield rows, start, min(stop, begin)
            yield rows, max(start, end), stop

    def _agreeing(self, rows: list[_Row], value: Decimal, halves: Decimal) -> tuple[int, int]:
        """Give the stretch of the values that agree with one: apart by rounding and a share of the larger at most."""
        within, here = self._within, bisect_left(rows, value, key=_VALUE)
        near = halves + within * value
        start = bisect_left(rows, True, 0, here, key=lambda row: value - row[0] <= near)
        stop = bisect_left(rows, True, here, key=lambda row: row[0] - value > halves + within * row[0])
        return start, stop


def first_with(ranks: Sequence[tuple[int, int]], rank: tuple[int, int], places: Iterable[int]) -> int | None:
    """Give the first of some places whose reading ranks as high as `rank` or higher; None where none does."""
    return min((place for place in places if ranks[place] >= rank), default=None)
