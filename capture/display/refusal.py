"""Why a display is not read, as a sentence that tells a person what to do about it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display import geometry

COME_CLOSER = "come closer"
TILT = "tilt the meter or the phone"
HOLD_STILL = "hold still"
LIGHT = "put light on it from the side"
"""What to do, in the words of the refusals and of the live finder's hints alike."""

NO_DISPLAY = f"No display found: {COME_CLOSER}, or mark its four corners by hand."
CUT_OFF = "The display is cut off: get the whole of it into the picture."
TOO_SMALL = f"The digits are too small in the picture: {COME_CLOSER}."
GLARE = f"Glare hides part of the display: {TILT} and take it again."
BLUR = f"The display is blurred: {HOLD_STILL}, let the camera focus, and take it again."
DARK = f"The display is too dark: {LIGHT} and take it again."
NO_VALUE = "The display shows no value: it is off, or nothing on it can be read."
NOT_A_NUMBER = "The display shows no number: {text!r}. Type the value if there is one."
UNREADABLE = "A digit cannot be made out: take it again, or type the value."
POINT_UNSURE = "The decimal point is in doubt: come closer, or type the value."
DIGITS_UNSURE = "The digits are in doubt: take it again straight on, or type the value."
TWO_VALUES = "Two numbers of one size are shown: type or say the one that counts."
GAP = "There is a gap in the number: take it again straight on, or type the value."

COVERED = "Something lies over part of the number, or a shadow does: take it away, or type the value."
DIM = 60
"""Level of 255 that 95 of 100 pixels of a dark picture do not reach; practice, no source."""
EVEN = 12.0
"""Contrast below which a surface is even, levels of 255; practice, no source."""
BLOWN_OUT = 242
"""Level of 255 from which a pixel counts as blown out."""
BRIGHT_GROUND = 205.0
"""Level of 255 above which a ground is itself near white, as a backlit one mostly is; practice, no source."""
MIN_DIGIT_PX = 10.0
"""Height of the main digits in the photo, px, below which the point is smaller than one pixel and a half."""


def is_cut_off(quad: geometry.Quad, width: int, height: int) -> bool:
    """Tell whether a display reaches out of the picture by more than 3 % of its own size."""
    slack = 0.03 * max(geometry.sides(quad))
    low, high = quad.min(0), quad.max(0)
    return bool(low[0] < -slack or low[1] < -slack or high[0] > width + slack or high[1] > height + slack)


def cause(canvas: NDArray[np.uint8], digit_px: float | None, box: tuple[float, float, float, float] | None) -> str:
    """Find the likeliest reason why a display could not be read, from the look of its rectified view.

    Args:
        canvas: Rectified view, RGB.
        digit_px: Height of the main digits in the photo, px; None if none were found.
        box: Around the main string on the canvas, or None for the whole of it.
    """
    grey = _grey(canvas, box)
    if grey.size == 0:
        return UNREADABLE
    if digit_px is not None and digit_px < MIN_DIGIT_PX:
        return TOO_SMALL
    if float(np.mean(grey > 245)) > 0.03 and float(np.mean(grey > 245)) < 0.9 and float(np.percentile(grey, 50)) < 235:
        return GLARE
    if _dark(grey):
        return DARK
    spread, sharp = _spread_and_edges(grey)
    if spread > 1 and sharp / spread < 0.02:
        return BLUR
    return UNREADABLE


def _grey(canvas: NDArray[np.uint8], box: tuple[float, float, float, float] | None) -> NDArray[np.uint8]:
    """Turn a canvas grey, or the part of it in a box, at least 8 px wide and high where the canvas reaches so far."""
    grey = np.asarray(cv2.cvtColor(canvas, cv2.COLOR_RGB2GRAY), np.uint8)
    if box is None:
        return grey
    x0, y0, x1, y1 = (max(0, int(v)) for v in box)
    return grey[y0 : max(y0 + 8, y1), x0 : max(x0 + 8, x1)]


def _spread_and_edges(grey: NDArray[np.uint8]) -> tuple[float, float]:
    """Measure contrast without its extremes, and the mean strength of edges after a slight blur; levels of 255."""
    spread = float(np.percentile(grey, 97) - np.percentile(grey, 3))
    return spread, float(np.abs(cv2.Laplacian(cv2.GaussianBlur(grey, (0, 0), 1.5), cv2.CV_32F)).mean())


def _dark(grey: NDArray[np.uint8]) -> bool:
    return float(np.percentile(grey, 95)) < DIM


def is_dark(picture: NDArray[np.uint8]) -> bool:
    """Tell whether a picture (RGB) has hardly any light in it."""
    return _dark(_grey(picture, None))


def is_even(canvas: NDArray[np.uint8]) -> bool:
    """Tell whether a picture (RGB) has too little contrast for anything to stand in it, as a wall or a finger."""
    return canvas.size == 0 or _spread_and_edges(_grey(canvas, None))[0] < EVEN


def crispness(canvas: NDArray[np.uint8], box: tuple[float, float, float, float]) -> tuple[float, float]:
    """Measure sharpness of the main string, as a share of its contrast, and that contrast (levels of 255); else 0, 0.

    Args:
        canvas: Rectified view, RGB.
        box: Around the main string, canvas px.
    """
    grey = _grey(canvas, box)
    if grey.size == 0:
        return 0.0, 0.0
    spread, sharp = _spread_and_edges(grey)
    return sharp / max(spread, 1.0), spread


def ink_beside(
    canvas: NDArray[np.uint8], row: tuple[float, float, float, float], height: float, stop: float
) -> tuple[float, float]:
    """Measure the contrast just left and just right of a row of characters as a share of the row's own, 0..1 each.

    Where there is much of it, a character may have been missed.

    Args:
        canvas: Rectified view, RGB.
        row: Around the characters, canvas px.
        height: Of a character, canvas px.
        stop: Where something else is known to begin at the right, canvas px.
    """
    x0, y0, x1, y1 = row
    grey = cv2.GaussianBlur(cv2.cvtColor(canvas, cv2.COLOR_RGB2GRAY), (0, 0), max(0.5, 0.02 * height))
    top, bottom = max(0, int(y0 + 0.05 * height)), max(1, int(y1 - 0.05 * height))

    def spread(left: float, right: float) -> float:
        part = grey[top:bottom, max(0, int(left)) : max(0, int(right))]
        return (
            float(np.percentile(part, 99) - np.percentile(part, 1)) if part.shape[0] > 1 and part.shape[1] > 1 else 0.0
        )

    own = max(spread(x0, x1), 4.0)
    before = spread(x0 - 0.6 * height, x0 - 0.1 * height)
    after = spread(x1 + 0.1 * height, min(x1 + 0.6 * height, stop))
    return min(1.0, before / own), min(1.0, after / own)


def glare_beside(canvas: NDArray[np.uint8], box: tuple[float, float, float, float], height: float) -> bool:
    """Tell whether a bright reflection lies where characters of the main string could be hidden.

    A reflection is a blown-out patch wider than any stroke. A ground that is blown out all over hides nothing.

    Args:
        canvas: Rectified view, RGB.
        box: Around the main string, canvas px.
        height: Of the main digits, canvas px.
    """
    x0, y0, x1, y1 = box
    left, right = max(0, int(x0 - 2.5 * height)), min(canvas.shape[1], int(x1 + 0.8 * height))
    band = canvas[max(0, int(y0 - 0.05 * height)) : max(1, int(y1 + 0.15 * height)), left:right]
    if band.size == 0:
        return False
    blown = (band.min(2) >= BLOWN_OUT).astype(np.uint8)
    side = max(3, round(0.28 * height))
    patch = cv2.morphologyEx(blown, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    return bool(patch.any()) and float(blown.mean()) < 0.6


def bright_ground(canvas: NDArray[np.uint8], box: tuple[float, float, float, float], height: float) -> bool:
    """Tell whether the ground is near white by itself: as bright as a reflection all over, it hides nothing.

    Args:
        canvas: Rectified view, RGB.
        box: Around the main string, canvas px.
        height: Of the main digits, canvas px.
    """
    left, top, right, foot = (int(v) for v in (box[0] - height, box[1] - height, box[2] + height, box[3] + height))
    band = canvas[max(0, top) : max(1, foot), max(0, left) : max(1, right)]
    return band.size > 0 and float(np.median(band.min(2))) > BRIGHT_GROUND
