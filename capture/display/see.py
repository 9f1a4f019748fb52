"""Reads the displays in a photo: `see_photo` is what the rest of Ohmtrail calls.

Promises: a reading is accepted only if several views of the display, one of them close to the main string, agree on
every character and on the point, and digits, point and unit are each sure enough. Otherwise it is refused with a
reason that a person can act on. An accepted reading is still a proposal: it counts only after a person's yes.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from capture.display import finder, geometry, printed, refusal, views
from capture.display.fields import Fields, arrange
from capture.display.marks import decode
from capture.display.networks import reader_map
from capture.display.picture import open_picture
from capture.display.strings import parse_main
from capture.errors import MediaError
from capture.reading import DisplayReading, Doubt, Seen
from grading.quantity import UNITS, Qualifier, Quantity

VALUE_SURE, DOT_SURE, UNIT_SURE, LEGIBLE = 0.80, 0.80, 0.75, 0.35
"""Certainty needed for digits, point, unit and legibility; fitted on rendered photos (see MODEL_CARD.md)."""
RIVAL = 0.87
"""Another number of at least this share of the main one's height makes it unclear which one counts."""
MARGINS = (0.03, 0.09)
"""Space around the display on the first views, shares of the canvas."""
CLOSE_PAD = 0.35
"""Space around the main string on the close view, as a share of its height."""


@dataclass(frozen=True)
class _Look:
    """One view with what it says."""

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
    best = max(looks, key=lambda look: (bool(look.fields.text), look.fields.value_sure))
    if best.fields.box is not None:
        close = views.part_of(best.matrix, best.fields.box, CLOSE_PAD)
        looks.append(_look(pixels, close, 0.02))
    digit_px = None
    if best.fields.text:
        digit_px = best.fields.height / (
            geometry.sides(geometry.transform(best.matrix, quad))[0] / geometry.sides(quad)[0]
        )
    cut = not marked and refusal.is_cut_off(quad, pixels.shape[1], pixels.shape[0])
    return _judge(looks, best, quad, digit_px, cut=cut)


def _look(pixels: NDArray[np.uint8], quad: geometry.Quad, margin: float) -> _Look:
    canvas, matrix = views.view(pixels, quad, margin)
    out, legible = reader_map(canvas)
    return _Look(arrange(decode(out), out), legible, canvas, matrix)


def _small(looks: list[_Look]) -> dict[str, str]:
    """Small fields on which the whole-display views agree, or that only one of them has."""
    first, second = looks[0].fields.small, looks[1].fields.small
    result = {k: v for k, v in first.items() if second.get(k) == v}
    flags = set(looks[0].fields.flags) & set(looks[1].fields.flags)
    return result | dict.fromkeys(sorted(flags), "on")


def _judge(
    looks: list[_Look], best: _Look, quad: geometry.Quad, digit_px: float | None, *, cut: bool
) -> DisplayReading:
    """Weigh the views and accept or refuse."""
    texts = Counter(look.fields.text for look in looks)
    text = max(texts, key=lambda t: (texts[t], max(look.fields.value_sure for look in looks if look.fields.text == t)))
    units = Counter(look.fields.unit for look in looks)
    unit = max(units, key=lambda u: (units[u], max(look.fields.unit_sure for look in looks if look.fields.unit == u)))
    agree = [look.fields for look in looks if look.fields.text == text]
    value = float(np.mean([f.value_sure for f in agree])) * len(agree) / len(looks)
    strip = str.maketrans("", "", ".")
    same_digits = [look.fields for look in looks if look.fields.text.translate(strip) == text.translate(strip)]
    dot = float(min(f.dot_sure for f in agree)) * len(agree) / max(1, len(same_digits))
    sure_units = [look.fields.unit_sure for look in looks if look.fields.unit == unit]
    unit_sure = float(np.mean(sure_units)) * len(sure_units) / len(looks) if unit is not None else 0.0
    known = unit if unit in UNITS else None
    quantity = parse_main(text, known) if "?" not in text else None
    confidence = {"value": round(value, 3), "dot": round(dot, 3), "unit": round(unit_sure if known else 0.0, 3)}
    legible = float(np.mean([look.legible for look in looks]))
    reason, doubts = _verdict(text, quantity, confidence, legible, best, digit_px, cut=cut)
    if reason == refusal.UNIT_UNSURE and known is None and quantity is not None and best.fields.box is not None:
        suggested = printed.unit_beside(best.canvas, best.fields.box)
        quantity, doubts = replace(quantity, unit=suggested), (Doubt.UNIT_UNSURE if suggested else Doubt.UNIT_MISSING,)
    return DisplayReading(
        text=text,
        quantity=quantity or Quantity(None, known, Qualifier.NONE),
        secondary=_small(looks),
        confidence=confidence,
        accepted=not reason,
        reason=reason,
        quad=tuple((float(x), float(y)) for x, y in quad),
        doubts=doubts,
    )


def _verdict(
    text: str,
    quantity: Quantity | None,
    confidence: dict[str, float],
    legible: float,
    best: _Look,
    digit_px: float | None,
    *,
    cut: bool,
) -> tuple[str, tuple[Doubt, ...]]:
    """Reason for refusing ("" to accept) and doubts; the first that holds."""
    hint = refusal.cause(best.canvas, digit_px, best.fields.box)
    vague = hint == refusal.UNREADABLE
    unit = None if quantity is None else quantity.unit
    valued = quantity is not None and quantity.qualifier is not Qualifier.NONE
    checks = (
        (cut, refusal.CUT_OFF, Doubt.VALUE_MISSING),
        (not text, refusal.NO_VALUE if vague else hint, Doubt.VALUE_MISSING),
        (digit_px is not None and digit_px < refusal.LEAST_DIGIT, refusal.TOO_SMALL, Doubt.LOW_CONFIDENCE),
        ("?" in text, hint, Doubt.DIGITS_AMBIGUOUS),
        (quantity is None, refusal.NOT_A_NUMBER.format(text=text.replace("¿", "?")), Doubt.VALUE_MISSING),
        (
            confidence["value"] < VALUE_SURE or legible < LEGIBLE,
            refusal.DIGITS_UNSURE if vague else hint,
            Doubt.DIGITS_AMBIGUOUS,
        ),
        (best.fields.rival > RIVAL, refusal.TWO_VALUES, Doubt.VALUE_MISSING),
        (confidence["dot"] < DOT_SURE, refusal.POINT_UNSURE, Doubt.DOT_UNSURE),
        (valued and unit is None, refusal.UNIT_UNSURE, Doubt.UNIT_MISSING),
        (valued and confidence["unit"] < UNIT_SURE, refusal.UNIT_UNSURE, Doubt.UNIT_UNSURE),
    )
    for holds, reason, doubt in checks:
        if holds:
            return reason, (doubt,)
    return "", _remaining_doubts(quantity)


def _remaining_doubts(quantity: Quantity | None) -> tuple[Doubt, ...]:
    """What must be asked even about a clear reading."""
    doubts: tuple[Doubt, ...] = ()
    if quantity is None or quantity.unit is None:
        return doubts
    if quantity.qualifier is Qualifier.ABOVE and quantity.digits is None:
        doubts = (Doubt.RANGE_END_UNKNOWN,)
    below_nothing = quantity.value is not None and quantity.value < 0
    if below_nothing and UNITS[quantity.unit].dimension in ("resistance", "capacitance", "ratio"):
        doubts = (*doubts, Doubt.IMPLAUSIBLE)
    return doubts
