"""From the reader network's maps to marks: what stands where on the rectified display, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.glyphs import CLASSES, GROUPS, READER_STRIDE, group_of

LEAST_HEAT = (0.3, 0.25, 0.3)
"""Heat from which a peak counts as a mark, per group of `GROUPS`."""
_MEMBERS = [
    np.array([i for i, name in enumerate(CLASSES) if group_of(name) == g or name == "unreadable"])
    for g in range(len(GROUPS))
]


@dataclass(frozen=True)
class Mark:
    """One mark on the canvas.

    Attributes:
        name: Its class, see `capture.display.glyphs`.
        sure: Probability of the class among those of its group, 0..1.
        heat: How sure it is that there is a mark at all, 0..1.
        rival: The next likely class.
        x: Middle, canvas px.
        y: Middle, canvas px.
        width: Canvas px.
        height: Canvas px.
    """

    name: str
    sure: float
    heat: float
    rival: str
    x: float
    y: float
    width: float
    height: float

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
    """Marks in a map of the reader's network (3 + classes + 4, rows, columns)."""
    groups = len(GROUPS)
    heats, scores, boxes = out[:groups], out[groups:-4], out[-4:]
    marks: list[Mark] = []
    for group, heat in enumerate(heats):
        size = 3 if group == 1 else 5
        peaks = (heat >= cv2.dilate(heat, np.ones((size, size), np.uint8))) & (heat > LEAST_HEAT[group])
        for y, x in np.argwhere(peaks):
            marks.append(_mark(scores, boxes, heat, group, int(y), int(x)))
    return _distinct(marks)


def _mark(
    scores: NDArray[np.float32], boxes: NDArray[np.float32], heat: NDArray[np.float32], group: int, y: int, x: int
) -> Mark:
    rows, cols = slice(max(0, y - 1), y + 2), slice(max(0, x - 1), x + 2)
    weight = heat[rows, cols] / heat[rows, cols].sum()
    members = _MEMBERS[group]
    mean = (scores[members][:, rows, cols] * weight).sum((1, 2)).astype(np.float64)
    odds = np.exp(mean - mean.max())
    odds /= odds.sum()
    best, second = np.argsort(-odds)[:2]
    dx, dy, w, h = (float(v) for v in boxes[:, y, x])
    return Mark(
        CLASSES[members[best]], float(odds[best]), float(heat[y, x]), CLASSES[members[second]],
        (x + 0.5 + dx) * READER_STRIDE, (y + 0.5 + dy) * READER_STRIDE,
        float(np.exp(min(w, 5.0))) * READER_STRIDE, float(np.exp(min(h, 5.0))) * READER_STRIDE,
    )  # fmt: skip


def _distinct(marks: list[Mark]) -> list[Mark]:
    """Of two marks of one group in one place only the surer."""
    kept: list[Mark] = []
    for mark in sorted(marks, key=lambda m: -m.heat):
        clash = any(
            other.group == mark.group
            and abs(other.x - mark.x) < 0.4 * min(other.width, mark.width)
            and abs(other.y - mark.y) < 0.4 * min(other.height, mark.height)
            for other in kept
        )
        if not clash:
            kept.append(mark)
    return kept


def residual_point(out: NDArray[np.float32], x0: float, x1: float, y0: float, y1: float) -> float:
    """Highest heat of the point map within a box of the canvas, 0..1."""
    cols = slice(max(0, int(x0 / READER_STRIDE)), max(1, int(np.ceil(x1 / READER_STRIDE))))
    rows = slice(max(0, int(y0 / READER_STRIDE)), max(1, int(np.ceil(y1 / READER_STRIDE))))
    part = out[1][rows, cols]
    return float(part.max()) if part.size else 0.0
