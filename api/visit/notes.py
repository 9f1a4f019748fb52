"""What is noted beside a reading: the position it was taken at, and circumstances that bear on what it can prove."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.columns import NoteColumns
from api.visit.errors import BadCircumstance, BadPosition
from capture.language.readback import beside_words
from capture.reading import SaidBeside
from grading.terms.circumstance import Circumstance

LONGEST_POSITION = 40
"""Longest text of a position, characters."""


@dataclass(frozen=True)
class Notes:
    """What is noted beside a reading.

    Attributes:
        position: Shaft or carrier position; empty for none.
        circumstances: In the order of `Circumstance`, none twice.
    """

    position: str = ""
    circumstances: tuple[Circumstance, ...] = ()

    def to_json(self) -> JsonObject:
        """Give them as plain data."""
        return {"position": self.position, "circumstances": [one.value for one in self.circumstances]}

    @property
    def words(self) -> str:
        """As they are read back: "after cleaning, position three"; empty for none."""
        return beside_words(self.circumstances, self.position)

    def put_into(self, row: NoteColumns) -> None:
        """Write the columns of a row."""
        row.position = self.position
        row.circumstances_json = canonical([one.value for one in self.circumstances])


def notes_with(before: Notes, said: SaidBeside) -> Notes:
    """Give the notes that hold once circumstances were said; what was not mentioned stays."""
    named = {*before.circumstances, *said.hold} - {*said.lifted}
    return Notes(said.position or before.position, tuple(one for one in Circumstance if one in named))


def joined(before: Notes, more: Notes) -> Notes:
    """Give everything that either holds; of two positions the later."""
    return notes_with(before, SaidBeside(hold=more.circumstances, position=more.position or None))


def notes_of(row: NoteColumns) -> Notes:
    """Decode the notes in a proposal's or record's columns."""
    return Notes(row.position, tuple(Circumstance(name) for name in parsed(row.circumstances_json)))


def notes_from(fields: Mapping[str, object], before: Notes) -> Notes:
    """Give the notes that hold once some fields were given; what is not given stays.

    Args:
        fields: Perhaps with `position` (text, None or empty for none) and `circumstances` (list of words, None for
            none); others are ignored.
        before: What held before.

    Raises:
        BadPosition: A position is no text or too long.
        BadCircumstance: A circumstance is not known.
    """
    position, circumstances = before.position, before.circumstances
    if "position" in fields:
        position = _position(fields["position"])
    if "circumstances" in fields:
        circumstances = _circumstances(fields["circumstances"])
    return Notes(position, circumstances)


def _position(value: object) -> str:
    if value is None:
        return ""
    text = " ".join(value.split()) if isinstance(value, str) else None
    if text is None or len(text) > LONGEST_POSITION or not text.isprintable():
        raise BadPosition(value=value, most=LONGEST_POSITION)
    return text


def _circumstances(value: object) -> tuple[Circumstance, ...]:
    names = [] if value is None else value
    known = [one.value for one in Circumstance]
    wrong = [name for name in names if name not in known] if isinstance(names, list) else [names]
    if wrong or not isinstance(names, list):
        raise BadCircumstance(value=wrong[0], known=tuple(known))
    return tuple(one for one in Circumstance if one.value in names)
