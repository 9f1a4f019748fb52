"""Reads the displays in a photo: `see_photo` is what the rest of Ohmtrail calls.

Promises: every display is looked at several times, the whole of it and close to the main string; a reading is accepted
only if over all looks digits and point reach their threshold. Otherwise it is refused with a reason that a person
can act on. An accepted reading is still a proposal: it counts only after a person's yes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from capture.display import finder, geometry, refusal
from capture.display.acceptance import agreed, decide
from capture.display.check import all_checked, each_expected
from capture.display.errors import CornersInvalid
from capture.display.features import DisplayLooks
from capture.display.fields import Fields
from capture.display.looks import evidence_of, look_at
from capture.display.picture import open_picture
from capture.display.profile import Profile
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of
from capture.display.second_opinion.loading import second_reader
from capture.display.second_opinion.opinion import PrintSeen, ask, likeliest_main, overlaps
from capture.display.second_opinion.words import numbers_in
from capture.reading import DisplayAlternative, DisplayReading, Doubt, FieldSeen, LeftOpen, Seen
from grading.terms.quantity import UNITS, QuantityKind

LEAST_LINE = 0.2
"""Height of a line of print, as a share of the display's, from which it may be the main string; practice, no source."""
NUMBER, MOST_NUMBERS = 0.6, 4
"""Height, as a share of the main one's, from which another number is read as well where two are about as large, and how
many of them; practice, no source."""
HOPELESS = 0.5
"""The finder's score below which no second reader is asked about a display: it is seldom one; practice, no source."""


def see_photo(
    data: bytes,
    *,
    crop: bool = False,
    corners: tuple[tuple[float, float], ...] | None = None,
    profile: Profile | None = None,
    kind: QuantityKind | None = None,
) -> Seen:
    """Read the displays in a photo.

    Args:
        data: The file's content: JPEG, PNG, WEBP or HEIC (limits: `capture.display.header`).
        crop: The picture is nothing but the display; it is not looked for.
        corners: Corners of the display in upright pixels, clockwise from its own top left, where a person marked
            them; it is not looked for.
        profile: What the instrument can show: an impossible reading is refused, an unlikely one asked about.
        kind: What was to be measured: it tells which of several numbers counts; None if unknown.

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
        return each_expected(seen, kind) if profile is None else all_checked(seen, profile, kind=kind)
    smaller = None if corners is None else tuple((x * picture.scale, y * picture.scale) for x, y in corners)
    seen = see_pixels(picture.pixels, crop=crop, corners=smaller)
    seen = replace(seen, displays=tuple(scaled(display, 1 / picture.scale) for display in seen.displays))
    return each_expected(seen, kind) if profile is None else all_checked(seen, profile, kind=kind)


def scaled(display: DisplayReading, by: float) -> DisplayReading:
    """Scale a reading's boxes and corners, say to the full photo."""
    fields = []
    for one in display.secondary_seen:
        x0, y0, x1, y1 = (v * by for v in one.box)
        fields.append(replace(one, box=(x0, y0, x1, y1)))
    others = tuple(replace(one, reading=scaled(one.reading, by)) for one in display.alternatives)
    return replace(
        display,
        quad=tuple((x * by, y * by) for x, y in display.quad),
        secondary_seen=tuple(fields),
        alternatives=others,
    )


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
    together = alone if opinion is None else decided(evidence, looks[0].matrix, opinion)
    if marked:
        return together
    if together.accepted:
        if not _of_another_quantity(evidence.fields):
            return together
        return replace(together, alternatives=_each_number(pyramid, evidence, looks[0].matrix, opinion, together))
    if opinion is not None and (line := _by_line(pyramid, evidence, looks[0].matrix, opinion)) is not None:
        return line
    if together.reason != refusal.TWO_VALUES:
        return together
    own = decided(evidence, looks[0].matrix, opinion, told=(LeftOpen.NUMBER,))
    return replace(together, alternatives=_each_number(pyramid, evidence, looks[0].matrix, opinion, own))


def _of_another_quantity(fields: Fields) -> bool:
    """Tell whether another number, about as large as the main one, has a unit of another quantity: it may be meant."""
    dimension = UNITS[fields.unit].dimension if fields.unit in UNITS else ""
    large = [one.unit for one in fields.seen if one.height > NUMBER * fields.height]
    return any(fields.foreign) or any(unit in UNITS and UNITS[unit].dimension != dimension for unit in large)


def _each_number(
    photo: ImagePyramid, evidence: DisplayLooks, matrix: geometry.Matrix, opinion: PrintSeen | None, own: DisplayReading
) -> tuple[DisplayAlternative, ...]:
    """Read each of several numbers of about one size; the visit may tell which one counts. Empty where they are many.

    Args:
        photo: The photo.
        evidence: What was seen of the display.
        matrix: Photo -> canvas of the evidence.
        opinion: Of a second reader; None where it was not asked.
        own: The main number as read if it counts.
    """
    fields = evidence.fields
    boxes = _other_numbers(fields, opinion)
    if not 0 < len(boxes) <= MOST_NUMBERS:
        return ()
    found = [own]
    back = geometry.inverse(matrix)
    for box in boxes:
        quad, looks = look_at(photo, geometry.transform(back, geometry.rectangle(*box)), marked=True)
        close = evidence_of(photo, quad, looks, marked=True, found=evidence.found)
        moved = None if opinion is None else opinion.moved(looks[0].matrix @ back)
        found.append(decided(close, looks[0].matrix, moved, told=(LeftOpen.NUMBER,)))
    corners = tuple((float(x), float(y)) for x, y in evidence.quad)
    return tuple(DisplayAlternative(LeftOpen.NUMBER, replace(one, quad=corners)) for one in found)


def _other_numbers(fields: Fields, opinion: PrintSeen | None) -> list[tuple[float, float, float, float]]:
    """Give the places of other numbers about as large as the main one, with room for a unit at their right; canvas px.

    Lines of print are taken first: they are whole where our own reader sees a piece of a number.
    """
    least = NUMBER * fields.height
    lines = [] if opinion is None else [line for line in opinion.lines if numbers_in(line.text)]
    found = [line.box for line in lines if line.box[3] - line.box[1] > least and not overlaps(line, fields)]
    own = [(x0, y0, x1 + 1.5 * (y1 - y0), y1) for x0, y0, x1, y1 in fields.nameless]
    own += [one.box for one in fields.seen if one.text != "on"]
    for box in own:
        if box[3] - box[1] > least and not any(_meet(box, other) for other in found):
            found.append(box)
    return found


def _meet(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    """Tell whether two boxes share more than half of the lower one's height, and some width."""
    down = min(one[3], other[3]) - max(one[1], other[1])
    across = min(one[2], other[2]) - max(one[0], other[0])
    return across > 0 and down > 0.5 * min(one[3] - one[1], other[3] - other[1])


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


def decided(
    evidence: DisplayLooks,
    matrix: geometry.Matrix,
    opinion: PrintSeen | None = None,
    *,
    told: tuple[LeftOpen, ...] = (),
) -> DisplayReading:
    """Decide on a reading, with its small fields where they stand in the photo.

    Args:
        evidence: What was seen of the display.
        matrix: Photo -> canvas of the evidence.
        opinion: Of a second reader; None where it was not asked.
        told: What the visit is taken to tell, see `acceptance.decide`.
    """
    back = geometry.inverse(matrix)
    seen = []
    for small in evidence.fields.seen:
        corners = geometry.transform(back, geometry.rectangle(*small.box))
        (x0, y0), (x1, y1) = corners.min(0), corners.max(0)
        box = (round(float(x0), 1), round(float(y0), 1), round(float(x1), 1), round(float(y1), 1))
        seen.append(FieldSeen(small.name, small.text, round(float(small.confidence), 3), box, small.unit))
    reading = replace(decide(evidence, opinion, told), secondary_seen=tuple(seen))
    if reading.accepted or Doubt.DOT_UNSURE not in reading.doubts or LeftOpen.POINT in told:
        return reading
    pointed = replace(decide(evidence, opinion, (*told, LeftOpen.POINT)), secondary_seen=tuple(seen))
    alternatives = (DisplayAlternative(LeftOpen.POINT, pointed),) if pointed.accepted else ()
    return replace(reading, alternatives=alternatives)
