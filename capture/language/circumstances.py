"""Circumstances of a reading among the pieces of an utterance: what was said to hold, what not, and the position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from capture.language.items import Cue, Item, UnitSpoken
from capture.language.numbers import SpokenNumber
from capture.reading import SaidBeside
from grading.terms.circumstance import Circumstance

MOST_DEGREES = 360
"""Largest position that is taken by voice: one turn of a shaft in degrees, or the number of a place."""


def said_beside(items: Sequence[Item]) -> tuple[list[Item], SaidBeside]:
    """Take the circumstances out of an utterance.

    Args:
        items: Its pieces.

    Returns:
        The pieces with a mark in place of each circumstance, and what was said of them. Of two statements about one
        circumstance the later counts. A position without a whole number up to `MOST_DEGREES` is an unknown piece.
    """
    kept: list[Item] = []
    holds: dict[Circumstance, bool] = {}
    position: str | None = None
    index = 0
    while index < len(items):
        item, end = items[index], index + 1
        if isinstance(item.piece, Circumstance):
            denied = bool(kept) and kept[-1].piece is Cue.NOT
            if denied:
                kept.pop()
            holds[item.piece] = not denied
            kept.append(replace(item, piece=Cue.NOTED))
        elif item.piece is Cue.POSITION:
            place, end = _position(items, index + 1)
            position = place or position
            kept.append(replace(item, piece=Cue.UNKNOWN if place is None else Cue.NOTED))
        else:
            kept.append(item)
        index = end
    said = SaidBeside(
        tuple(one for one in Circumstance if holds.get(one) is True),
        tuple(one for one in Circumstance if holds.get(one) is False),
        position,
    )
    return kept, said


def _position(items: Sequence[Item], index: int) -> tuple[str | None, int]:
    """Read the number after "position" and its degrees; the place behind them."""
    piece = items[index].piece if index < len(items) else None
    if not isinstance(piece, SpokenNumber) or not piece.digits.isdigit() or int(piece.digits) > MOST_DEGREES:
        return None, index
    unit = items[index + 1].piece if index + 1 < len(items) else None
    degrees = isinstance(unit, UnitSpoken) and unit.code == "Cel"
    return f"{int(piece.digits)}°" if degrees else str(int(piece.digits)), index + 1 + degrees
