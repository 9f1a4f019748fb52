"""Looks at one display several times, the whole of it and close to its main string; collects what all looks give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.display import geometry, refusal, views
from capture.display.features import DisplayLooks
from capture.display.fields import Fields, around
from capture.display.fusion import ViewMarks, fuse
from capture.display.hidden import hidden
from capture.display.leading import arrange
from capture.display.marks import Mark, decode
from capture.display.networks import reader_map
from capture.display.pyramid import ImagePyramid
from grading.terms.quantity import UNITS

MARGINS = (0.03, 0.09)
"""Space around the display on the looks at the whole of it, shares of the canvas."""
WIDE_MARGINS = (0.22, 0.3)
"""The same where a person marked nothing but the digits."""
SLOPE = 0.05
"""A main row that climbs or falls by more than this per px is straightened before reading on."""
CLOSE_PADS = (0.35, 0.6)
"""Space around the main string on the close looks, as a share of its height."""
INSIDE = 0.03
"""A display whose corners lie this far within the picture, as a share of its longer side, is not cut off."""
CONFIDENT = 0.95
"""Confidence in digits, points and unit, and legibility, from which two looks that say the same are enough."""
UNREADABLE_BELOW, READABLE_FROM = 0.4, 0.8
"""Legibility times confidence in the digits of a look up to which a display may stand on its head or side, and which
another way up must have to be taken instead: 6002 upside down is 2009. Practice, no source."""


@dataclass(frozen=True)
class Look:
    """One view with what it says by itself."""

    marks: list[Mark]
    fields: Fields
    legible: float
    canvas: NDArray[np.uint8]
    matrix: geometry.Matrix


def look_at(photo: ImagePyramid, quad: geometry.Quad, *, marked: bool) -> tuple[geometry.Quad, list[Look]]:
    """Look at a display as often as it needs: twice where both looks are confident and say the same, else four times.

    Returns:
        The corners, put right where the looks showed them to be off, and the looks; the first shows the whole.
    """
    first = _look(photo, quad, MARGINS[0])
    close = _close(photo, first, CLOSE_PADS[0]) if _confident(first) and abs(first.fields.slope) <= SLOPE else None
    if close is not None and _confident(close) and _same(first, close):
        return quad, [first, close]
    # Who marks corners says which is the top left, so a marked display is only turned where nothing was read.
    if _readability(first) < UNREADABLE_BELOW and not (marked and first.fields.text):
        quad, first = _upright(photo, quad, first)
    looks = [first, _look(photo, quad, MARGINS[1])]
    if marked and not any(look.fields.text for look in looks):  # perhaps marked so tightly that the digits fill it
        looks = [_look(photo, quad, margin) for margin in WIDE_MARGINS]
    slope = max(looks, key=lambda look: look.fields.value_confidence).fields.slope
    if abs(slope) > SLOPE:  # the corners were off: straighten by the row of digits itself
        quad = views.turned(quad, looks[0].matrix, slope)
        looks = [_look(photo, quad, margin) for margin in MARGINS]
    best = max(looks, key=lambda look: (bool(look.fields.text), look.fields.value_confidence))
    if best.fields.box is not None:
        for pad in CLOSE_PADS:
            kept = close is not None and best is first and pad == CLOSE_PADS[0]
            looks.append(close if close is not None and kept else _close(photo, best, pad))
    return quad, looks


def glance_at(photo: ImagePyramid, quad: geometry.Quad) -> Look:
    """Look once at the whole of a display whose corners are known, px."""
    return _look(photo, quad, MARGINS[0])


def _readability(look: Look) -> float:
    """Rate how readable a look is, 0..1: a display that does not stand upright is hardly legible."""
    return look.legible * look.fields.value_confidence


def _upright(photo: ImagePyramid, quad: geometry.Quad, first: Look) -> tuple[geometry.Quad, Look]:
    """Turn the corners to how the display is read, with a look: on its head or side only where that is readable."""
    for turn in (2, 1, 3):  # on its head first: there, digits are still digits (6002 is 2009)
        turned = np.roll(quad, turn, 0)
        look = _look(photo, turned, MARGINS[0])
        if _readability(look) >= READABLE_FROM:
            return turned, look
    return quad, first


def _confident(look: Look) -> bool:
    """Tell whether one look is confident enough that a second one which says the same settles it."""
    fields = look.fields
    known = fields.unit in UNITS and "?" not in fields.text and "¿" not in fields.text
    weakest = min(fields.value_confidence, fields.dot_confidence, fields.unit_confidence, look.legible)
    return known and weakest >= CONFIDENT


def _same(one: Look, other: Look) -> bool:
    return (one.fields.text, one.fields.unit) == (other.fields.text, other.fields.unit)


def _close(photo: ImagePyramid, look: Look, pad: float) -> Look:
    """Look closer at the main string that another look found."""
    assert look.fields.box is not None
    return _look(photo, views.part_of(look.matrix, look.fields.box, pad), 0.02)


def _look(photo: ImagePyramid, quad: geometry.Quad, margin: float) -> Look:
    canvas, matrix = views.view(photo, quad, margin)
    out, legible = reader_map(canvas)
    marks = decode(out)
    return Look(marks, arrange(marks), legible, canvas, matrix)


def fused_marks(looks: list[Look]) -> list[Mark]:
    """Fuse the marks of all looks at one display, on the canvas of the first."""
    return fuse([ViewMarks(look.marks, look.matrix) for look in looks], looks[0].matrix)


def evidence_of(
    photo: ImagePyramid, quad: geometry.Quad, looks: list[Look], *, marked: bool, found: float = 1.0
) -> DisplayLooks:
    """Collect all that the looks at one display give, as `acceptance.decide` takes it.

    Args:
        photo: The photo, upright.
        quad: Corners of the display in it, px.
        looks: As `look_at` gives them.
        marked: A person marked the corners, or the picture is nothing but the display.
        found: The finder's score, 0..1.
    """
    first = looks[0]
    fields = arrange(fused_marks(looks))
    shown = geometry.sides(geometry.transform(first.matrix, quad))
    scale = shown[0] / geometry.sides(quad)[0]
    return DisplayLooks(
        fields=fields,
        looks=tuple(look.fields for look in looks),
        legible=float(np.mean([look.legible for look in looks])),
        canvas=first.canvas,
        share=fields.height / max(1.0, shown[1]) if fields.text.strip("-") else 1.0,
        digit_px=fields.height / scale if fields.text else None,
        cut=not marked and _is_cut(photo, quad, fields, first.matrix),
        quad=quad,
        found=found,
        marked=marked,
        room=_room(photo, fields, first.matrix),
        margin=_margin(photo, quad),
        hidden=_hidden(photo, quad, first.matrix, fields),
    )


def _hidden(photo: ImagePyramid, quad: geometry.Quad, matrix: geometry.Matrix, fields: Fields) -> float:
    """Judge how likely something lies over a part of the main string, 0..1; 0 without one."""
    characters = [m for m in fields.chars if m.group == 0 and m.name not in "<>-"]
    return hidden(photo, quad, matrix, around(characters), fields.height) if characters else 0.0


def _room(photo: ImagePyramid, fields: Fields, matrix: geometry.Matrix) -> float:
    """Measure the space from the main string to the picture's nearest side, as a share of its height, within ±9."""
    if fields.box is None:
        return 9.0
    corners = geometry.transform(geometry.inverse(matrix), geometry.rectangle(*_row_box(fields)))
    return float(np.clip(_space(photo, corners) / max(1.0, geometry.sides(corners)[1]), -9, 9))


def _row_box(fields: Fields) -> tuple[float, float, float, float]:
    """Box the characters of the main string, points left out: x0, y0, x1, y1, canvas px."""
    return around([m for m in fields.chars if m.group == 0])


def _margin(photo: ImagePyramid, quad: geometry.Quad) -> float:
    """Measure the space from the display to the picture's edge, as a share of its longer side; negative beyond."""
    return float(np.clip(_space(photo, quad) / max(1.0, *geometry.sides(quad)), -9, 9))


def _space(photo: ImagePyramid, corners: geometry.Quad) -> float:
    """Give the least distance of some corners from the edges of the picture, px; negative outside."""
    low, high = corners.min(0), corners.max(0)
    return float(min(low[0], low[1], photo.width - high[0], photo.height - high[1]))


def _is_cut(photo: ImagePyramid, quad: geometry.Quad, fields: Fields, matrix: geometry.Matrix) -> bool:
    """Tell whether the main string, or a sign before it, may go on beyond the edge of the picture."""
    height, width = photo.height, photo.width
    if fields.box is None:
        return refusal.is_cut_off(quad, width, height)
    if _margin(photo, quad) > INSIDE:  # all of its window is in the picture
        return False
    row = _row_box(fields)
    room = 0.7 * fields.height  # the next character would begin within this
    before = 1.2 * fields.height if refusal.is_cut_off(quad, width, height) else room  # and a sign within this
    wide = geometry.rectangle(row[0] - before, row[1], row[2] + room, row[3])
    reach = geometry.transform(geometry.inverse(matrix), wide)
    low, high = reach.min(0), reach.max(0)
    return bool(low[0] < 0 or low[1] < 0 or high[0] > width or high[1] > height)
