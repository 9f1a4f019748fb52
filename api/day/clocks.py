"""Whether recorder and camera go by the same clock: stated by a person, or found by the values that both have.

Where a value was spoken and the display that shows it photographed, the two lie a few seconds apart. If many values
agree at one distance in time, and at no other, that distance is by how much the clocks differ.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from api.day.errors import BadClock
from capture.comparison import says_same
from grading.terms.quantity import Quantity

WINDOW_S = 60.0
"""Distances within this count as one, s: the photo is taken some seconds before or after the word (program's rule)."""

LEAST_PAIRS = 4
"""So many values must agree before a clock is moved without being told (program's rule)."""

AHEAD = 2.0
"""By which factor the best distance must be ahead of any other (program's rule)."""

SAME_S = 90.0
"""Clocks that differ by less are left as they are, s: joining allows for it."""

MOST_S = 26 * 3600.0
"""How far apart the clocks may be found to be, s: a wrong date is stated by a person."""

_SAID = re.compile(r"\s*(recorder|camera)\s*([+-])\s*(\d{1,4}(?:\.\d+)?)\s*(s|sec|min|m|h)\w*\s*", re.IGNORECASE)
_UNIT_S = {"s": 1, "sec": 1, "m": 60, "min": 60, "h": 3600}


@dataclass(frozen=True)
class Clocks:
    """By how much the times of each device are moved.

    Attributes:
        recorder_s: Added to the recorder's times, s.
        camera_s: Added to the camera's times, s.
        how: "said", "found", "agree", "told" where a time of day was spoken, or "unknown" where nothing tells.
        pairs: Values that agree, where it was found.
    """

    recorder_s: float = 0.0
    camera_s: float = 0.0
    how: str = "unknown"
    pairs: int = 0

    def sentence(self) -> str:
        """Say what was done."""
        if self.how == "said":
            return f"Clocks as said: recorder {_signed(self.recorder_s)}, camera {_signed(self.camera_s)}."
        if self.how == "found":
            late = "late" if self.recorder_s > 0 else "early"
            return (
                f"The recorder is {_length(abs(self.recorder_s))} {late}: {self.pairs} values agree with photos at "
                "that distance. Its times are moved."
            )
        if self.how == "told":
            return f"By the time of day that was told the recorder is moved by {_signed(self.recorder_s)}."
        if self.how == "agree":
            return f"Recorder and camera go by the same clock: {self.pairs} values agree with their photos."
        return "Whether recorder and camera go by the same clock cannot be told; their times are taken as they are."


def _signed(seconds: float) -> str:
    return f"{'-' if seconds < 0 else '+'}{_length(abs(seconds))}"


def _length(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def said_clocks(given: str) -> Clocks:
    """Read what a person says of the clocks: "recorder +58min", "camera -1h", or both with a comma between.

    Raises:
        BadClock: It cannot be understood.
    """
    moved = {"recorder": 0.0, "camera": 0.0}
    for part in given.split(","):
        match = _SAID.fullmatch(part)
        if match is None:
            raise BadClock(given=given)
        device, sign, amount, unit = match.groups()
        moved[device.lower()] = (-1 if sign == "-" else 1) * float(amount) * _UNIT_S[unit.lower()]
    return Clocks(moved["recorder"], moved["camera"], "said")


def told_clocks(late_s: Sequence[float]) -> Clocks:
    """Move the recorder by the times of day that were spoken into it; not at all where these do not agree.

    Args:
        late_s: By how much the recorder was late at each of them, s.
    """
    if not late_s or max(late_s) - min(late_s) > 2 * SAME_S:
        return Clocks()
    middle = sorted(late_s)[len(late_s) // 2]
    return Clocks(recorder_s=float(round(middle)) if abs(middle) > SAME_S else 0.0, how="told")


@dataclass(frozen=True)
class ClockSample:
    """A value at an instant of its device's own clock."""

    instant: dt.datetime
    quantity: Quantity = field(compare=False)


def compared(spoken: Sequence[ClockSample], seen: Sequence[ClockSample]) -> Clocks:
    """Find by how much the recorder must be moved so that its values meet the photos of them.

    Args:
        spoken: Values by the recorder's clock.
        seen: Values by the camera's clock.
    """
    apart = sorted(
        (distance, i, j)
        for i, word in enumerate(spoken)
        for j, photo in enumerate(seen)
        if word.quantity.digits is not None
        and says_same(photo.quantity, word.quantity)
        and abs(distance := (photo.instant - word.instant).total_seconds()) <= MOST_S
    )
    places = [(*_agreeing(apart, at), apart[at][0]) for at in range(len(apart))]
    if not places:
        return Clocks()
    best, middle, begin = max(places, key=lambda place: (place[0], -abs(place[1])))
    others = [count for count, _, start in places if abs(start - begin) > 2 * WINDOW_S]
    if best < LEAST_PAIRS or best < AHEAD * max(others, default=0):
        return Clocks()
    if abs(middle) <= SAME_S:
        return Clocks(how="agree", pairs=best)
    return Clocks(recorder_s=float(round(middle)), how="found", pairs=best)


def _agreeing(apart: list[tuple[float, int, int]], first: int) -> tuple[int, float]:
    """Count the values, each once, whose distance lies in the window that begins with one; and give their middle."""
    words: set[int] = set()
    photos: set[int] = set()
    distances = []
    for distance, i, j in apart[first:]:
        if distance > apart[first][0] + WINDOW_S:
            break
        if i not in words and j not in photos:
            words.add(i)
            photos.add(j)
            distances.append(distance)
    middle = sorted(distances)[len(distances) // 2]
    return len(distances), middle
