"""Reads the displays in a photo: `see_photo` is what the rest of Ohmtrail calls.

Promises: every display is looked at several times, the whole of it and close to the main string; a reading is accepted
only if over all looks digits, point and unit are each sure enough. Otherwise it is refused with a reason that a person
can act on. An accepted reading is still a proposal: it counts only after a person's yes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from capture.display import finder, geometry, refusal, views
from capture.display.fields import Fields, arrange
from capture.display.fusion import Sight, fuse
from capture.display.judge import Evidence, judge
from capture.display.marks import Mark, decode
from capture.display.networks import reader_map
from capture.display.picture import open_picture
from capture.errors import MediaError
from capture.reading import DisplayReading, Seen

MARGINS = (0.03, 0.09)
"""Space around the display on the looks at the whole of it, shares of the canvas."""
WIDE_MARGINS = (0.22, 0.3)
"""The same where a person marked nothing but the digits."""
SLOPE = 0.05
"""A main row that climbs or falls by more than this per px is straightened before reading on."""
CLOSE_PADS = (0.35, 0.6)
"""Space around the main string on the close looks, as a share of its height."""


@dataclass(frozen=True)
class _Look:
    """One view with what it says by itself."""

    marks: list[Mark]
    fields: Fields
    legible: float
    canvas: NDArray[np.uint8]
    matrix: geometry.Matrix


def see_photo(data: bytes, *, crop: bool = False, corners: tuple[tuple[float, float], ...] | None = None) -> Seen:
    """Read the displays in a photo.

    Args:
        data: The file's content: JPEG, PNG, WEBP or HEIC, at most 12 MB and 50 million pixels.
        crop: The picture is nothing but the display; it is not looked for.
        corners: Corners of the display in upright pixels, clockwise from its own top left, where a person marked
        them; it
            is not looked for.

    Returns:
        The displays, surest first; none and a reason if none is found.

    Raises:
        MediaError: The photo cannot be decoded or is over a limit (codes of `picture.open_picture`), or
        "corners_invalid".
        EngineError: A model is missing or fails.
    """
    return see_pixels(open_picture(data).pixels, crop=crop, corners=corners)


def see_pixels(
    pixels: NDArray[np.uint8], *, crop: bool = False, corners: tuple[tuple[float, float], ...] | None = None
) -> Seen:
    """As `see_photo`, for upright RGB pixels (height, width, 3)."""
    height, width = pixels.shape[:2]
    if corners is not None:
        quads = [(_checked(corners), 1.0)]
    elif crop:
        quads = [(geometry.rectangle(0, 0, width, height), 1.0)]
    else:
        quads = [(f.quad, f.score) for f in finder.find(pixels)]
    if not quads:
        return Seen((), refusal.NO_DISPLAY)
    marked = crop or corners is not None
    readings = [read_display(pixels, quad, marked=marked) for quad, _ in quads]
    order = sorted(
        range(len(quads)), key=lambda i: (not readings[i].accepted, -geometry.sides(quads[i][0])[0] * quads[i][1])
    )
    displays = tuple(readings[i] for i in order)
    return Seen(displays, "" if displays[0].accepted else displays[0].reason)


def _checked(corners: tuple[tuple[float, float], ...]) -> geometry.Quad:
    quad = np.array(corners, float)
    if (
        quad.shape != (4, 2)
        or not np.isfinite(quad).all()
        or not geometry.is_convex(quad)
        or min(geometry.sides(quad)) < 8
    ):
        raise MediaError("corners_invalid", "Mark four corners of the display, clockwise from its top left.")
    return quad


def read_display(pixels: NDArray[np.uint8], quad: geometry.Quad, *, marked: bool = False) -> DisplayReading:
    """Read one display whose corners are known.

    Args:
        pixels: The photo, upright RGB.
        quad: Corners of the display.
        marked: A person marked the corners, or the picture is nothing but the display: being cut off is not checked.
    """
    looks = [_look(pixels, quad, margin) for margin in MARGINS]
    if not any(look.fields.text for look in looks):  # perhaps it was taken upside down
        turned = np.roll(quad, 2, 0)
        upside = [_look(pixels, turned, margin) for margin in MARGINS]
        if all(look.fields.text and look.fields.value_sure > 0.5 for look in upside):
            quad, looks = turned, upside
    if marked and not any(look.fields.text for look in looks):  # perhaps marked so tightly that the digits fill it
        looks = [_look(pixels, quad, margin) for margin in WIDE_MARGINS]
    slope = max(looks, key=lambda look: look.fields.value_sure).fields.slope
    if abs(slope) > SLOPE:  # the corners were off: straighten by the row of digits itself
        quad = views.turned(quad, looks[0].matrix, slope)
        looks = [_look(pixels, quad, margin) for margin in MARGINS]
    best = max(looks, key=lambda look: (bool(look.fields.text), look.fields.value_sure))
    if best.fields.box is not None:
        for pad in CLOSE_PADS:
            looks.append(_look(pixels, views.part_of(best.matrix, best.fields.box, pad), 0.02))
    first = looks[0]
    fields = arrange(fuse([Sight(look.marks, look.matrix) for look in looks], first.matrix))
    shown = geometry.sides(geometry.transform(first.matrix, quad))
    scale = shown[0] / geometry.sides(quad)[0]
    return judge(
        Evidence(
            fields=fields,
            texts=tuple(look.fields.text for look in looks),
            units=tuple(look.fields.unit for look in looks),
            legible=float(np.mean([look.legible for look in looks])),
            canvas=first.canvas,
            share=fields.height / max(1.0, shown[1]) if fields.text.strip("-") else 1.0,
            digit_px=fields.height / scale if fields.text else None,
            cut=not marked and _is_cut(pixels, quad, fields, first.matrix),
            quad=quad,
        )
    )


def _look(pixels: NDArray[np.uint8], quad: geometry.Quad, margin: float) -> _Look:
    canvas, matrix = views.view(pixels, quad, margin)
    out, legible = reader_map(canvas)
    marks = decode(out)
    return _Look(marks, arrange(marks), legible, canvas, matrix)


def _is_cut(pixels: NDArray[np.uint8], quad: geometry.Quad, fields: Fields, matrix: geometry.Matrix) -> bool:
    """Whether the main string, or a sign before it, may go on beyond the edge of the picture."""
    height, width = pixels.shape[:2]
    if fields.box is None:
        return refusal.is_cut_off(quad, width, height)
    x0, y0, x1, y1 = fields.box
    room = 0.7 * fields.height  # the next character would begin within this
    if refusal.is_cut_off(quad, width, height):
        room = 1.2 * fields.height  # and a sign within this
    reach = geometry.transform(geometry.inverse(matrix), geometry.rectangle(x0 - room, y0, x1 + room, y1))
    low, high = reach.min(0), reach.max(0)
    return bool(low[0] < 0 or low[1] < 0 or high[0] > width or high[1] > height)
