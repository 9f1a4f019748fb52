"""Whether the place that a value of a day stands under can be trusted: nobody was there to ask when it was said.

A place that was said and not heard would put everything after it under the place before. So a place holds only as long
as nothing speaks against it, and from then on what follows is in doubt until a place is named again:

* Words that may have named a place or a setting were not understood; only what is plainly talk is passed over.
* A recording begins after a break of minutes, or work goes on after a long one, without the axis being named.
* An axis is named without a part: the part of the axis before says nothing of this one.
* A point comes again that was measured under this place, or the same place is named again.
* A lead-to-lead value follows one to ground with nothing said between: a plan that begins again.
* A winding is read on a cable that is alone.

What is in doubt in a row is one stretch, and is asked about once. All of these are program's rules, without source.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from api.day.jobs import JobAxes
from api.visit.notes import Notes
from capture.comparison import says_same
from capture.language.vocabulary import ENTRIES, ICAO_LETTERS, WordClass, plain_text
from capture.reading import Heard, Reading
from grading.terms.quantity import Qualifier, QuantityKind
from grading.terms.section import Section
from grading.terms.terminals import pair

AGAIN_S = 30.0
"""The same value of the same point within this is one that was said twice, s."""

LONG_S = 5.0
"""A place is said in less than this, s: "X axis, through the cable, five hundred volts" takes some four."""

TALK_WORDS = 5
"""So many words of the second engine, none of them of the trade, are talk."""

_TO_GROUND = frozenset({QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND})


def _plain(*classes: WordClass) -> frozenset[str]:
    return frozenset(
        word for entry in ENTRIES.values() if entry.word_class in classes for word in entry.plain if len(word) > 2
    )


_PLACE_WORDS = (
    _plain(WordClass.AXIS, WordClass.SECTION, WordClass.TEST_VOLTAGE, WordClass.QUANTITY)
    | {word.replace("_", " ") for word in ICAO_LETTERS}
    | {"volt", "volts", "axes", "motors", "cables", "spindles"}
) - {"the", "out", "from", "and", "just", "hundred", "current", "air", "built"}


def plainly_talk(heard: Heard) -> bool:
    """Tell whether words that meant nothing can have been no place and no setting.

    Args:
        heard: What was heard.

    Returns:
        False where any engine thought of a word that places are named with, and where so little was made out that
        nobody can tell; what an engine without the trade's grammar wrote down as a sentence is talk, and so is what
        is longer than any place.
    """
    free = set() if heard.second is None else set(plain_text(heard.second.text))
    if (free | set(plain_text(heard.text))) & _PLACE_WORDS:
        return False
    if heard.second is not None and len(plain_text(heard.second.text)) >= TALK_WORDS:
        return True
    if any(set(plain_text(other.text)) & _PLACE_WORDS for other in heard.alternatives):
        return False
    return bool(heard.words) and heard.words[-1].end - heard.words[0].start > LONG_S


@dataclass(eq=False)
class Stretch:
    """Values one after the other that stand or fall together as to their place.

    Attributes:
        axis_unsure: Which axis they belong to is in doubt.
        section_unsure: Which part of it is in doubt.
        again: A point of this stretch came again in another one that was named: one of both is wrong.
    """

    axis_unsure: bool = False
    section_unsure: bool = False
    again: bool = False

    @property
    def unsure(self) -> bool:
        """Whether its values must be asked about."""
        return self.axis_unsure or self.section_unsure or self.again


@dataclass(frozen=True)
class _TakenAt:
    stretch: Stretch
    instant: dt.datetime
    reading: Reading


@dataclass
class PlaceTrust:
    """Follows how far the place can be trusted, utterance by utterance.

    Attributes:
        stretch: The one that the next value belongs to.
    """

    stretch: Stretch = field(default_factory=lambda: Stretch(axis_unsure=True, section_unsure=True))
    _points: dict[tuple[object, ...], _TakenAt] = field(default_factory=dict)
    _last: _TakenAt | None = None

    def lost(self) -> None:
        """Trust the place no more: something may have named another."""
        self._begin(axis_unsure=True, section_unsure=True)

    def named(self, axis: str | None, section: Section | None, *, moved: bool, same: bool) -> None:
        """Take note of a place that was said and understood.

        Args:
            axis: The axis that was named, or None.
            section: The part that was named, or None.
            moved: The axis is another one than before.
            same: Place and part were named as they were before.
        """
        if axis is None and section is None:
            return
        before = self.stretch
        if same and self._last is not None and self._last.stretch is before:
            before.again = True  # one of both was misheard, or said for good measure
        axis_unsure = before.axis_unsure and axis is None
        section_unsure = section is None and (before.section_unsure or moved)
        self._begin(axis_unsure=axis_unsure, section_unsure=section_unsure)
        self.stretch.again = same and before.again

    def took(self, reading: Reading, job: JobAxes | None, instant: dt.datetime, notes: Notes) -> Stretch:
        """Take note of a value with its circumstances; returns the stretch that it belongs to.

        After cleaning, say, or at another position the same point may well come again.
        """
        point = (*_point(reading, job), notes)
        before = self._points.get(point)
        if before is not None and not _said_twice(before, reading, instant):
            if before.stretch is self.stretch:
                self.lost()
            elif not self.stretch.unsure:
                before.stretch.again = self.stretch.again = True
                self.stretch.axis_unsure = True
        elif self._begins_again(reading) or _cannot_be(reading):
            self.lost()
        taken = _TakenAt(self.stretch, instant, reading)
        self._points[point] = self._last = taken
        return self.stretch

    def _begins_again(self, reading: Reading) -> bool:
        last = self._last
        if last is None or last.stretch is not self.stretch or self.stretch.unsure:
            return False
        return last.reading.kind in _TO_GROUND and reading.kind is QuantityKind.WINDING_RESISTANCE

    def _begin(self, *, axis_unsure: bool, section_unsure: bool) -> None:
        self.stretch = Stretch(axis_unsure=axis_unsure, section_unsure=section_unsure)


def _point(reading: Reading, job: JobAxes | None) -> tuple[object, ...]:
    terminals = reading.terminals or ""
    place = tuple(sorted(pair(terminals))) if "-" in terminals else (terminals,)
    return (None if job is None else job.id, reading.axis, reading.section, reading.kind, *place)


def _said_twice(before: _TakenAt, reading: Reading, instant: dt.datetime) -> bool:
    near = abs((instant - before.instant).total_seconds()) <= AGAIN_S
    return near and says_same(before.reading.quantity, reading.quantity)


def _cannot_be(reading: Reading) -> bool:
    """Tell whether a cable by itself is said to have a winding; open from lead to lead it must be."""
    winding = reading.kind is QuantityKind.WINDING_RESISTANCE and reading.section is Section.CABLE_ALONE
    return winding and reading.quantity.qualifier in (Qualifier.EQUAL, Qualifier.BELOW)
