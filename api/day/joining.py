"""Which photo belongs to which spoken value: the nearest in time, where unit and size allow."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from api.day.values import DayValue
from api.visit.proposals import JOIN_WINDOW_S
from capture.comparison import same_dimension, says_same
from capture.reading import DisplayReading
from grading.terms.quantity import Quantity, unit

NEAR_S = 45.0
"""A photo that differs from what was said beside it belongs to it only within this, s (program's rule)."""

SIZE = Decimal(20)
"""By which factor photo and words may differ and still be of one reading, misread or misheard (program's: more than a
decimal point lost)."""


@dataclass(frozen=True)
class PhotoAt:
    """A photo at its instant.

    Attributes:
        instant: When it was taken, by the day's common clock.
        sha256: The file.
        shown: The display that was accepted, or None.
    """

    instant: dt.datetime
    sha256: str
    shown: DisplayReading | None


@dataclass(frozen=True)
class Joined:
    """A photo of a spoken value.

    Attributes:
        photo: Its place among the photos.
        value: The value's place among the values.
        agrees: Both say the same.
    """

    photo: int
    value: int
    agrees: bool


def joined(photos: Sequence[PhotoAt], values: Sequence[DayValue]) -> list[Joined]:
    """Give each value at most one photo and each photo at most one value.

    What agrees goes first, the nearest first; then what differs but lies near and is of like size. A photo that is not
    readable goes to the nearest value without one.

    Args:
        photos: In order of time.
        values: In order of time.
    """
    pairs: list[tuple[int, float, int, int]] = []
    for i, photo in enumerate(photos):
        for j, value in enumerate(values):
            apart = abs((photo.instant - value.instant).total_seconds())
            if apart > JOIN_WINDOW_S:
                continue
            if photo.shown is None:
                rank = 2 if apart <= NEAR_S else 3
            elif not same_dimension(photo.shown.quantity, value.reading.quantity):
                continue
            elif says_same(photo.shown.quantity, value.reading.quantity):
                rank = 0
            elif apart <= NEAR_S and alike(photo.shown.quantity, value.reading.quantity):
                rank = 1
            else:
                continue
            if rank < 3:
                pairs.append((rank, apart, i, j))
    taken_photos: set[int] = set()
    taken_values: set[int] = set()
    found = []
    for rank, _, i, j in sorted(pairs):
        if i not in taken_photos and j not in taken_values:
            taken_photos.add(i)
            taken_values.add(j)
            found.append(Joined(i, j, rank == 0))
    return sorted(found, key=lambda one: one.photo)


def alike(photo: Quantity, words: Quantity) -> bool:
    """Tell whether two values can be of one reading that one of them has wrong: within a factor of `SIZE`."""
    if photo.value is None or words.value is None:
        return photo.value is None and words.value is None
    if not photo.value or not words.value:
        return not photo.value and not words.value
    one = abs(photo.value) * _factor(photo.unit or words.unit)
    other = abs(words.value) * _factor(words.unit or photo.unit)
    return bool(max(one, other) <= SIZE * min(one, other))


def _factor(code: str | None) -> Decimal:
    return Decimal(1) if code is None else unit(code).factor


def shows_again(photo: PhotoAt, values: Sequence[DayValue]) -> int | None:
    """Find the value that a further photo repeats: the nearest within the window that says the same; None for none."""
    if photo.shown is None:
        return None
    near = [
        (abs((photo.instant - value.instant).total_seconds()), index)
        for index, value in enumerate(values)
        if photo.shown is not None and says_same(photo.shown.quantity, value.reading.quantity)
    ]
    best = min(near, default=None)
    return best[1] if best is not None and best[0] <= JOIN_WINDOW_S else None
