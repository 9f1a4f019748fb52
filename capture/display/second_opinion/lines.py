"""All lines of print on one display, as the second reader reads them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from capture.display import geometry, views
from capture.display.pyramid import ImagePyramid
from capture.display.second_opinion.networks import HEIGHT, SecondReader

LONGEST, MARGIN = 480, 0.1
"""Longer side of the picture of the display in which lines are looked for, px, and the space around the display as a
share of it, since the unit may stand on the frame; practice, no source."""
MOST = 12
"""Lines read at most, the tallest: a display that holds more is a screen of text, or no display."""
LONGEST_LINE = 480
"""A line is at most this wide, px: some thirty characters."""


@dataclass(frozen=True)
class TextLine:
    """One line.

    Attributes:
        text: What it says.
        score: Mean probability of its characters, 0..1.
        quad: Corners in the photo, px, clockwise from top left.
    """

    text: str
    score: float
    quad: geometry.Quad


def read_lines(reader: SecondReader, photo: ImagePyramid, quad: geometry.Quad) -> tuple[TextLine, ...]:
    """Read the lines on a display, the tallest first.

    Args:
        reader: The second reader.
        photo: The photo.
        quad: Corners of the display, px.

    Raises:
        EngineError: The reader fails.
    """
    wide, high = geometry.sides(quad)
    scale = LONGEST / (max(wide, high, 1.0) * (1 + 2 * MARGIN))
    size = [max(64, round(side * (1 + 2 * MARGIN) * scale / 32) * 32) for side in (wide, high)]
    canvas, matrix = views.rectified(photo, quad, size[0], size[1], MARGIN)
    back = geometry.inverse(matrix)
    places = sorted((geometry.transform(back, q) for q in reader.find(canvas)), key=lambda q: -geometry.sides(q)[1])
    return tuple(read_line(reader, photo, place) for place in places[:MOST])


def read_line(reader: SecondReader, photo: ImagePyramid, quad: geometry.Quad) -> TextLine:
    """Read one line at the photo's own resolution.

    Args:
        reader: The second reader.
        photo: The photo.
        quad: Its corners, px.
    """
    wide, high = geometry.sides(quad)
    width = int(np.clip(round(HEIGHT * wide / max(high, 1.0)), 16, LONGEST_LINE))
    line, _ = views.rectified(photo, quad, width, HEIGHT, 0.0)
    text, score = reader.read(line)
    return TextLine(text, score, quad)
