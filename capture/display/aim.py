"""Tells how a display stands in a frame of a camera's view, and what to do until a photo of it can be read.

A frame is looked at once by the finder and, where that sees a display, once by the reader: it tells the digits' height,
and that they are digits. The closer looks of a photo are left out; whatever is taken for good here is still judged by
them once it is a photo. Promises: nothing is kept of a frame, and no value is told of one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from capture.display import geometry, refusal
from capture.display.acceptance import hidden_by_glare
from capture.display.errors import PhotoOverPixelLimit
from capture.display.features import DisplayLooks
from capture.display.finder import glance
from capture.display.header import read_header
from capture.display.looks import Look, evidence_of, glance_at
from capture.display.picture import open_picture
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of

MOST_PIXELS = 1_000_000
"""Largest frame, pixels; the page's have at most 768 x 768."""
A_DISPLAY = 0.5
"""The finder's score from which a display whose digits are not seen still counts as one; practice, no source."""
CLEAR = 0.7
"""Confidence in the digits, 0..1, at one look, from which they count as read. Of 120 rendered photos (instruments that
training never had) 101 reached it as frames of 768 px; 81 of these were accepted as photos, of all 120 they were 85."""
LEAST_DIGIT_PX = 20.0
"""Height of the digits in the photo, px, below which a person is asked to come closer: of 62 rendered photos of far
displays 3 of 10 were accepted below it, 36 of 52 above."""
FAR = 0.2
"""Width of a display as a share of the frame's below which its digits may be too small to be seen; practice."""


class Hint(Enum):
    """What to do; the value is its code."""

    NO_DISPLAY = "no_display"
    CUT_OFF = "cut_off"
    TOO_SMALL = "too_small"
    GLARE = "glare"
    BLUR = "blur"
    DARK = "dark"
    GOOD = "good"


WORDS = {
    Hint.NO_DISPLAY: f"No display found: {refusal.COME_CLOSER}",
    Hint.CUT_OFF: "Get the whole display into the picture",
    Hint.TOO_SMALL: refusal.COME_CLOSER.capitalize(),
    Hint.GLARE: f"Glare: {refusal.TILT}",
    Hint.BLUR: refusal.HOLD_STILL.capitalize(),
    Hint.DARK: f"Too dark: {refusal.LIGHT}",
    Hint.GOOD: "Display framed",
}
"""To be read at arm's length, and spoken."""
_OF_CAUSE = {refusal.TOO_SMALL: Hint.TOO_SMALL, refusal.GLARE: Hint.GLARE, refusal.DARK: Hint.DARK}


@dataclass(frozen=True)
class Aim:
    """How a display stands in a frame.

    Attributes:
        hint: What to do.
        corners: Shares of the frame's width and height, clockwise from the display's own top left; empty without one.
        digits: Height of the main digits as a share of the frame's; None where they are not seen.
        sharpness: Of the main string, as `refusal.crispness`; None where it is not seen.
        brightness: What 95 of 100 pixels of the display are not brighter than, 0..1; None without a display.
        glare: Share of the display that is blown out, 0..1; None without a display.
    """

    hint: Hint
    corners: tuple[tuple[float, float], ...] = ()
    digits: float | None = None
    sharpness: float | None = None
    brightness: float | None = None
    glare: float | None = None

    def to_json(self) -> dict[str, Any]:
        """Write it as plain data, with the words to the hint."""

        def rounded(value: float | None) -> float | None:
            return None if value is None else round(value, 4)

        return {
            "code": self.hint.value,
            "words": WORDS[self.hint],
            "corners": [[round(x, 4), round(y, 4)] for x, y in self.corners] or None,
            "digits": rounded(self.digits),
            "sharpness": rounded(self.sharpness),
            "brightness": rounded(self.brightness),
            "glare": rounded(self.glare),
        }


def aim_of(data: bytes, width: int) -> Aim:
    """Tell how a display stands in a frame.

    Args:
        data: The frame's file, as for a photo, of at most `MOST_PIXELS`.
        width: Of the photo that would be taken, px.

    Raises:
        MediaError: It cannot be decoded or is over a limit (codes of `picture.open_picture`).
        EngineError: A model is missing or fails.
    """
    header = read_header(data)
    if header.width * header.height > MOST_PIXELS:
        raise PhotoOverPixelLimit(width=header.width, height=header.height, millions=MOST_PIXELS / 10**6)
    return aim_at(open_picture(data).pixels, width)


def aim_at(frame: Pixels | ImagePyramid, width: int) -> Aim:
    """Tell as `aim_of` does, from upright RGB pixels (height, width, 3)."""
    pyramid = pyramid_of(frame)
    found = max(glance(pyramid), key=lambda one: one.score * geometry.sides(one.quad)[0], default=None)
    if found is None:
        return Aim(_hint_without(pyramid))
    look = glance_at(pyramid, found.quad)
    evidence = evidence_of(pyramid, found.quad, [look], marked=False, found=found.score)
    box, inside = evidence.fields.box, _inside(look, found.quad)
    if box is None and (found.score < A_DISPLAY or refusal.is_even(inside)):
        return Aim(_hint_without(pyramid))
    return Aim(
        hint=_hint(evidence, width / pyramid.width, geometry.sides(found.quad)[0] / pyramid.width),
        corners=tuple((float(x) / pyramid.width, float(y) / pyramid.height) for x, y in found.quad),
        digits=None if evidence.digit_px is None else evidence.digit_px / pyramid.height,
        sharpness=None if box is None else refusal.crispness(look.canvas, box)[0],
        brightness=float(np.percentile(inside.max(2), 95)) / 255,
        glare=float(np.mean(inside.min(2) >= refusal.BLOWN_OUT)),
    )


def _hint_without(frame: ImagePyramid) -> Hint:
    """Choose what to do where no display is seen."""
    return Hint.DARK if refusal.is_dark(frame.at(0.25)[0]) else Hint.NO_DISPLAY


def _inside(look: Look, quad: geometry.Quad) -> NDArray[np.uint8]:
    """Give the part of the canvas that is the display."""
    corners = geometry.transform(look.matrix, quad)
    (x0, y0), (x1, y1) = (max(0, int(v)) for v in corners.min(0)), (int(v) for v in corners.max(0))
    return look.canvas[y0 : max(y0 + 1, y1), x0 : max(x0 + 1, x1)]


def _hint(evidence: DisplayLooks, scale: float, share: float) -> Hint:
    """Choose what to do: the first that holds, causes before effects, as in `acceptance.rules`.

    Args:
        evidence: What was seen of the display.
        scale: Size of the photo, as that of the frame is 1.
        share: Width of the display, as that of the frame is 1.
    """
    fields = evidence.fields
    digit_px = None if evidence.digit_px is None else evidence.digit_px * scale
    if evidence.cut:
        return Hint.CUT_OFF
    if digit_px is not None and digit_px < LEAST_DIGIT_PX:
        return Hint.TOO_SMALL
    if hidden_by_glare(evidence):
        return Hint.GLARE
    if fields.text and "?" not in fields.text and fields.value_confidence >= CLEAR:
        return Hint.GOOD
    cause = refusal.cause(evidence.canvas, digit_px, fields.box)
    return _OF_CAUSE.get(cause) or (Hint.TOO_SMALL if share < FAR else Hint.BLUR)
