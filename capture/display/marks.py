"""From the reader network's maps to marks: what stands where on the rectified display, with confidences."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.glyphs import CLASSES, GROUPS, READER_STRIDE, group_of

MIN_HEAT = (0.2, 0.1, 0.2)
"""Heat from which a peak in one view is kept, per group of `GROUPS`; whether it counts is decided over all views."""
_MEMBERS = [
    np.array([i for i, name in enumerate(CLASSES) if group_of(name) == g or name == "unreadable"])
    for g in range(len(GROUPS))
]


@dataclass(frozen=True)
class Mark:
    """One mark on the canvas.

    Attributes:
        name: Its class, see `capture.display.glyphs`.
        confidence: Probability of the class among those of its group, 0..1.
        heat: Peak of the group's heat map there: the network's confidence that there is a mark at all, 0..1.
        rival: The next likeliest class.
        x: Middle, canvas px.
        y: Middle, canvas px.
        width: Canvas px.
        height: Canvas px.
        probabilities: Probability of every class of `CLASSES`; empty where not known.
    """

    name: str
    confidence: float
    heat: float
    rival: str
    x: float
    y: float
    width: float
    height: float
    probabilities: tuple[float, ...] = ()

    @property
    def left(self) -> float:
        """Left edge."""
        return self.x - self.width / 2

    @property
    def right(self) -> float:
        """Right edge."""
        return self.x + self.width / 2

    @property
    def group(self) -> int:
        """Index into `GROUPS`."""
        return group_of(self.name)


def decode(out: NDArray[np.float32]) -> list[Mark]:
    """Find the marks in a map of the reader's network (3 + classes + 4, rows, columns)."""
    groups = len(GROUPS)
    heats, scores, boxes = out[:groups], out[groups:-4], out[-4:]
    marks: list[Mark] = []
    for group, heat in enumerate(heats):
        size = 3 if group == 1 else 5  # a point's spot is smaller than a character's
        peaks = (heat >= cv2.dilate(heat, np.ones((size, size), np.uint8))) & (heat > MIN_HEAT[group])
        for y, x in np.argwhere(peaks):
            marks.append(_mark(scores, boxes, heat, group, int(y), int(x)))
    return distinct(marks)


def _mark(
    scores: NDArray[np.float32], boxes: NDArray[np.float32], heat: NDArray[np.float32], group: int, y: int, x: int
) -> Mark:
    rows, cols = slice(max(0, y - 1), y + 2), slice(max(0, x - 1), x + 2)
    weight = heat[rows, cols] / heat[rows, cols].sum()
    members = _MEMBERS[group]
    # Averaged round the peak, since the strongest cell alone may lie beside the middle of the mark.
    mean = (scores[members][:, rows, cols] * weight).sum((1, 2)).astype(np.float64)
    probabilities = np.exp(mean - mean.max())
    probabilities /= probabilities.sum()
    best, second = np.argsort(-probabilities)[:2]
    every = np.zeros(len(CLASSES))
    every[members] = probabilities
    dx, dy, w, h = (float(v) for v in boxes[:, y, x])
    return Mark(
        CLASSES[members[best]], float(probabilities[best]), float(heat[y, x]), CLASSES[members[second]],
        (x + 0.5 + dx) * READER_STRIDE, (y + 0.5 + dy) * READER_STRIDE,
        float(np.exp(min(w, 5.0))) * READER_STRIDE, float(np.exp(min(h, 5.0))) * READER_STRIDE, tuple(every.tolist()),
    )  # fmt: skip


def distinct(marks: list[Mark]) -> list[Mark]:
    """Keep, of two marks of a group in one place, only the stronger: a "1" with its point can look like an "L"."""
    kept: list[Mark] = []
    for mark in sorted(marks, key=lambda m: -m.heat):
        if not any(other.group == mark.group and _shared(other, mark) > 0.55 for other in kept):
            kept.append(mark)
    return kept


def _shared(one: Mark, other: Mark) -> float:
    """Give the share of the smaller mark that lies within the other, 0..1."""
    across = min(one.right, other.right) - max(one.left, other.left)
    down = min(one.y + one.height / 2, other.y + other.height / 2) - max(
        one.y - one.height / 2, other.y - other.height / 2
    )
    if across <= 0 or down <= 0:
        return 0.0
    return across * down / max(1e-6, min(one.width * one.height, other.width * other.height))
