"""Judges whether something lies where a character of the main string could be hidden: a finger, a lead, a reflection.

What covers a part of a digit makes another digit of it, and what covers a whole one takes it from the number. A small
network looks at a strip along the row and says for each place along it how likely something lies over it there.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display import geometry
from capture.display.glyphs import STRIP_DIGIT, STRIP_HEIGHT, STRIP_STRIDE, STRIP_WIDTH
from capture.display.networks import cover_map

Box = tuple[float, float, float, float]
BESIDE = 0.75
"""How far beside the row a further character could be hidden, in heights of a digit; practice, no source."""


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


def strip(canvas: NDArray[np.uint8], matrix: geometry.Matrix) -> NDArray[np.uint8]:
    """Cut the strip out of the straightened display (RGB); beyond the canvas, its edge goes on."""
    size, scale = (STRIP_WIDTH, STRIP_HEIGHT), float(matrix[0, 0])
    if scale < 0.75:  # shrink by averaging first, or thin strokes break up
        canvas = np.asarray(cv2.blur(canvas, (max(1, round(1 / scale)),) * 2), np.uint8)
    return np.asarray(
        cv2.warpAffine(canvas, matrix[:2], size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )


def hidden(canvas: NDArray[np.uint8], row: Box, height: float) -> float:
    """Judge how likely something lies over a part of the main string, or where another character of it could be.

    Args:
        canvas: Straightened display, RGB.
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
        likely = cover_map(strip(canvas, matrix))
        first, last = ((x * matrix[0, 0] + matrix[0, 2]) / STRIP_STRIDE for x in part)
        within = likely[max(0, int(first)) : max(int(first) + 1, int(np.ceil(last)))]
        worst = max(worst, float(within.max())) if within.size else worst
    return worst
