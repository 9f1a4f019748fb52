"""Judges whether something lies where a character of the main string could be hidden: a finger, a lead, a reflection.

What covers a part of a digit makes another digit of it, and what covers a whole one takes it from the number. A small
network looks at a strip along the row and says for each place along it how likely something lies over it there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from capture.display import geometry, views
from capture.display.glyphs import STRIP_DIGIT, STRIP_HEIGHT, STRIP_STRIDE, STRIP_WIDTH
from capture.display.networks import cover_map
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of

Box = tuple[float, float, float, float]
BESIDE = 1.0
"""How far beside the row a further character could be hidden, in heights of a digit; see DEVELOPERS.md."""
OUTSIDE = 0.1
"""How far beside the display it is still looked, in heights of a digit; see DEVELOPERS.md."""
AROUND = 2.5
"""How far to both sides of a strip's middle counts while it is cut out, in heights of a digit."""
_PLACES = (np.arange(STRIP_WIDTH // STRIP_STRIDE) + 0.5) * STRIP_STRIDE
"""The middle of each place along a strip, px."""


def strip_matrix(row: Box, height: float, middle: float) -> geometry.Matrix:
    """Give the matrix canvas -> strip: digits `STRIP_DIGIT` px high, the row level with the strip's middle.

    Args:
        row: Around the characters of the main string, canvas px.
        height: Of the main digits, canvas px.
        middle: What lies in the strip's middle, canvas px from the left.
    """
    scale = STRIP_DIGIT / max(height, 1.0)
    down = STRIP_HEIGHT / 2 - scale * (row[1] + row[3]) / 2
    return np.array([[scale, 0, STRIP_WIDTH / 2 - scale * middle], [0, scale, down], [0, 0, 1.0]])


def strip(photo: Pixels | ImagePyramid, matrix: geometry.Matrix) -> NDArray[np.uint8]:
    """Cut a strip out of the photo by the matrix photo -> strip (RGB): what lies beside the display shows as well."""
    middle, reach = STRIP_WIDTH / 2, AROUND * STRIP_DIGIT
    top, foot = (STRIP_HEIGHT - STRIP_DIGIT) / 2, (STRIP_HEIGHT + STRIP_DIGIT) / 2
    back = geometry.inverse(matrix)
    quad = geometry.transform(back, geometry.rectangle(middle - reach, top, middle + reach, foot))
    scale = 2 * reach / max(1.0, geometry.sides(quad)[0])
    return views.warped(photo, quad, matrix, scale, STRIP_WIDTH, STRIP_HEIGHT)


def inside(photo: Pixels | ImagePyramid, matrix: geometry.Matrix) -> NDArray[np.bool_]:
    """Tell of each place along a strip (matrix photo -> strip) whether it lies in the photo.

    Beyond, the photo's edge only goes on, and looks like something that lies there.
    """
    pyramid = pyramid_of(photo)
    places = np.column_stack([_PLACES, np.full(len(_PLACES), STRIP_HEIGHT / 2)])
    x, y = geometry.transform(geometry.inverse(matrix), places).T
    return np.asarray((x >= 0) & (x <= pyramid.width) & (y >= 0) & (y <= pyramid.height), bool)


def within(quad: geometry.Quad, matrix: geometry.Matrix, row: tuple[float, float]) -> NDArray[np.bool_]:
    """Tell of each place along a strip whether it lies on the display: what lies beside that hides nothing.

    Args:
        quad: Corners of the display in the photo, px.
        matrix: Photo -> strip.
        row: Where the row begins and ends on the strip, px; it counts even where the corners leave it out.
    """
    corners, room = geometry.transform(matrix, quad)[:, 0], OUTSIDE * STRIP_DIGIT
    left, right = min(corners[[0, 3]].mean(), row[0]), max(corners[[1, 2]].mean(), row[1])
    return np.asarray((left - room < _PLACES) & (right + room > _PLACES), bool)


def likely_hidden(strip_pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Judge each place along a strip, 0..1: the mean of what the network says of it and of its mirror image.

    Raises:
        EngineError: The model is missing or fails.
    """
    mirrored = cover_map(np.ascontiguousarray(strip_pixels[:, ::-1]))[::-1]
    return np.asarray((cover_map(strip_pixels) + mirrored) / 2, np.float32)


def hidden(photo: Pixels | ImagePyramid, quad: geometry.Quad, onto: geometry.Matrix, row: Box, height: float) -> float:
    """Judge how likely something lies over a part of the main string, or where another character of it could be.

    Args:
        photo: The photo, upright RGB.
        quad: Corners of the display in it, px.
        onto: Matrix photo -> canvas.
        row: Around the characters of the main string, canvas px.
        height: Of the main digits, canvas px.

    Returns:
        0..1, of the likeliest place along the row.

    Raises:
        EngineError: The model is missing or fails.
    """
    reach = BESIDE * height
    left, right = row[0] - reach, row[2] + reach
    span = STRIP_WIDTH / STRIP_DIGIT * height  # what one strip shows
    count = max(1, int(np.ceil((right - left) / (0.85 * span))))
    worst = 0.0
    for number in range(count):  # more than one only for a row of a dozen characters
        part = left + (right - left) * number / count, left + (right - left) * (number + 1) / count
        matrix = strip_matrix(row, height, sum(part) / 2)
        first, last, *ends = (x * matrix[0, 0] + matrix[0, 2] for x in (*part, row[0], row[2]))
        asked = (first - STRIP_STRIDE / 2 < _PLACES) & (last + STRIP_STRIDE / 2 > _PLACES)
        matrix = matrix @ onto
        asked &= inside(photo, matrix) & within(quad, matrix, (ends[0], ends[1]))
        if asked.any():
            worst = max(worst, float(likely_hidden(strip(photo, matrix))[asked].max()))
    return worst
