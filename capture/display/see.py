"""Reads the displays in a photo: `see_photo` is what the rest of Ohmtrail calls.

Promises: every display is looked at several times, the whole of it and close to the main string; a reading is accepted
only if over all looks digits and point reach their threshold. Otherwise it is refused with a reason that a person
can act on. An accepted reading is still a proposal: it counts only after a person's yes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.display import finder, geometry, refusal, views
from capture.display.acceptance import agreed, decide
from capture.display.check import all_checked
from capture.display.errors import CornersInvalid
from capture.display.features import DisplayLooks
from capture.display.fields import Fields, around, arrange
from capture.display.fusion import ViewMarks, fuse
from capture.display.marks import Mark, decode
from capture.display.networks import reader_map
from capture.display.picture import open_picture
from capture.display.profile import Profile
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of
from capture.display.second_opinion.loading import second_reader
from capture.display.second_opinion.opinion import PrintSeen, ask, likeliest_main, overlaps
from capture.reading import DisplayReading, FieldSeen, Seen
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


LEAST_LINE = 0.2
"""Height of a line of print, as a share of the display's, from which it may be the main string; practice, no source."""
HOPELESS = 0.5
"""The finder's score below which no second reader is asked about a display: it is seldom one; practice, no source."""
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


def see_photo(
    data: bytes,
    *,
    crop: bool = False,
    corners: tuple[tuple[float, float], ...] | None = None,
    profile: Profile | None = None,
) -> Seen:
    """Read the displays in a photo.

    Args:
        data: The file's content: JPEG, PNG, WEBP or HEIC (limits: `capture.display.header`).
        crop: The picture is nothing but the display; it is not looked for.
        corners: Corners of the display in upright pixels, clockwise from its own top left, where a person marked
            them; it is not looked for.
        profile: What the instrument can show: an impossible reading is refused, an unlikely one asked about.

    Returns:
        The displays, accepted ones first, then by width times the finder's score; none and a reason if none is found.

    Raises:
        MediaError: The photo cannot be decoded or is over a limit (codes of `picture.open_picture`), or
        "corners_invalid".
        EngineError: A model is missing or fails.
    """
    picture = open_picture(data)
    if picture.scale == 1:
        seen = see_pixels(picture.pixels, crop=crop, corners=corners)
        return seen if profile is None else all_checked(seen, profile)
    smaller = None if corners is None else tuple((x * picture.scale, y * picture.scale) for x, y in corners)
    seen = see_pixels(picture.pixels, crop=crop, corners=smaller)
    seen = replace(seen, displays=tuple(scaled(display, 1 / picture.scale) for display in seen.displays))
    return seen if profile is None else all_checked(seen, profile)


def scaled(display: DisplayReading, by: float) -> DisplayReading:
    """Scale a reading's boxes and corners, say to the full photo."""
    fields = []
    for one in display.secondary_seen:
        x0, y0, x1, y1 = (v * by for v in one.box)
        fields.append(replace(one, box=(x0, y0, x1, y1)))
    return replace(display, quad=tuple((x * by, y * by) for x, y in display.quad), secondary_seen=tuple(fields))


def see_pixels(
    pixels: NDArray[np.uint8], *, crop: bool = False, corners: tuple[tuple[float, float], ...] | None = None
) -> Seen:
    """Read as `see_photo` does, from upright RGB pixels (height, width, 3)."""
    photo = ImagePyramid(pixels)
    quads = displays_in(photo, crop=crop, corners=corners)
    if not quads:
        return Seen((), refusal.NO_DISPLAY)
    marked = crop or corners is not None
    readings = [read_display(photo, quad, marked=marked, found=score) for quad, score in quads]
    order = sorted(
        range(len(quads)), key=lambda i: (not readings[i].accepted, -geometry.sides(quads[i][0])[0] * quads[i][1])
    )
    displays = tuple(readings[i] for i in order)
    return Seen(displays, "" if displays[0].accepted else displays[0].reason)


def displays_in(
    photo: ImagePyramid, *, crop: bool = False, corners: tuple[tuple[float, float], ...] | None = None
) -> list[tuple[geometry.Quad, float]]:
    """Find the corners of the displays in a photo, each with the finder's score, 0..1."""
    if corners is not None:
        return [(_checked(corners), 1.0)]
    if crop:
        return [(geometry.rectangle(0, 0, photo.width, photo.height), 1.0)]
    return [(f.quad, f.score) for f in finder.find(photo)]


def _checked(corners: tuple[tuple[float, float], ...]) -> geometry.Quad:
    quad = np.array(corners, float)
    if (
        quad.shape != (4, 2)
        or not np.isfinite(quad).all()
        or not geometry.is_convex(quad)
        or min(geometry.sides(quad)) < 8
    ):
        raise CornersInvalid()
    return quad


def read_display(
    photo: Pixels | ImagePyramid, quad: geometry.Quad, *, marked: bool = False, found: float = 1.0
) -> DisplayReading:
    """Read one display whose corners are known.

    Args:
        photo: The photo, upright RGB.
        quad: Corners of the display.
        marked: A person marked the corners, or the picture is nothing but the display: being cut off is not checked.
        found: The finder's score, 0..1.
    """
    pyramid = pyramid_of(photo)
    quad, looks = look_at(pyramid, quad, marked=marked)
    evidence = evidence_of(pyramid, quad, looks, marked=marked, found=found)
    alone = decided(evidence, looks[0].matrix)
    opinion = second_opinion(pyramid, evidence, looks[0].matrix, alone)
    if opinion is None:
        return alone
    together = decided(evidence, looks[0].matrix, opinion)
    if together.accepted or marked:
        return together
    return _by_line(pyramid, evidence, looks[0].matrix, opinion) or together


def second_opinion(
    photo: ImagePyramid, evidence: DisplayLooks, matrix: geometry.Matrix, alone: DisplayReading
) -> PrintSeen | None:
    """Ask the second reader about a display; None where there is none, or nothing to be gained.

    Args:
        photo: The photo.
        evidence: What our own reader sees.
        matrix: Photo -> canvas of the evidence.
        alone: What follows from that alone.
    """
    settled = alone.accepted and not alone.doubts
    if settled or evidence.cut or evidence.found < HOPELESS:
        return None
    reader = second_reader()
    return None if reader is None else ask(reader, photo, evidence.quad, evidence.fields, matrix)


def _by_line(
    photo: ImagePyramid, evidence: DisplayLooks, matrix: geometry.Matrix, opinion: PrintSeen
) -> DisplayReading | None:
    """Read the line of print that is likeliest the main string, where our own reader took another or none.

    Returns:
        The reading, where both readers read the same there; None otherwise.
    """
    found = line_close(photo, evidence, matrix, opinion)
    if found is None:
        return None
    close, moved, onto = found
    reading = decided(close, onto, moved)
    if not reading.accepted or not agreed(moved, close):
        return None
    return replace(reading, quad=tuple((float(x), float(y)) for x, y in evidence.quad))


def line_close(
    photo: ImagePyramid, evidence: DisplayLooks, matrix: geometry.Matrix, opinion: PrintSeen
) -> tuple[DisplayLooks, PrintSeen, geometry.Matrix] | None:
    """Look closely at the line of print that is likeliest the main string; None where it is our own row, or none is.

    Returns:
        What our own reader sees there, the opinion on that canvas, and the matrix photo -> canvas.
    """
    line = likeliest_main(opinion)
    if line is None or overlaps(line, evidence.fields):  # a part of our own row is no other number
        return None
    if line.box[3] - line.box[1] < LEAST_LINE * geometry.sides(geometry.transform(matrix, evidence.quad))[1]:
        return None
    place = geometry.transform(geometry.inverse(matrix), geometry.rectangle(*line.box))
    quad, looks = look_at(photo, place, marked=True)
    close = evidence_of(photo, quad, looks, marked=True, found=evidence.found)
    return close, opinion.moved(looks[0].matrix @ geometry.inverse(matrix)), looks[0].matrix


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
    )


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


def fused_marks(looks: list[Look]) -> list[Mark]:
    """Fuse the marks of all looks at one display, on the canvas of the first."""
    return fuse([ViewMarks(look.marks, look.matrix) for look in looks], looks[0].matrix)


def decided(evidence: DisplayLooks, matrix: geometry.Matrix, opinion: PrintSeen | None = None) -> DisplayReading:
    """Decide on a reading, with its small fields where they stand in the photo (`matrix`: photo -> canvas)."""
    back = geometry.inverse(matrix)
    seen = []
    for small in evidence.fields.seen:
        corners = geometry.transform(back, geometry.rectangle(*small.box))
        (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
        box = (round(float(x0), 1), round(float(y0), 1), round(float(x1), 1), round(float(y1), 1))
        seen.append(FieldSeen(small.name, small.text, round(float(small.confidence), 3), box))
    return replace(decide(evidence, opinion), secondary_seen=tuple(seen))


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


def _is_cut(photo: ImagePyramid, quad: geometry.Quad, fields: Fields, matrix: geometry.Matrix) -> bool:
    """Tell whether the main string, or a sign before it, may go on beyond the edge of the picture."""
    height, width = photo.height, photo.width
    if fields.box is None:
        return refusal.is_cut_off(quad, width, height)
    if _margin(photo, quad) > INSIDE:  # all of its window is in the picture
        return False
    row = _row_box(fields)
    room = 0.7 * fields.height  # the next character would begin within this
    if refusal.is_cut_off(quad, width, height):
        room = 1.2 * fields.height  # and a sign within this
    wide = geometry.rectangle(row[0] - room, row[1], row[2] + room, row[3])
    reach = geometry.transform(geometry.inverse(matrix), wide)
    low, high = reach.min(0), reach.max(0)
    return bool(low[0] < 0 or low[1] < 0 or high[0] > width or high[1] > height)
