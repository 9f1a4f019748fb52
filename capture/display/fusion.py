"""Brings the marks of several views of one display together: what one view doubts, the others may know.

A place that only some views call a mark gets the mean of their heats, the others counting as nothing: a speck that one
view takes for a point stays weak, and a point that all see becomes strong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from capture.display import geometry
from capture.display.glyphs import CLASSES, READER_HEIGHT, READER_WIDTH
from capture.display.marks import Mark, distinct


@dataclass(frozen=True)
class ViewMarks:
    """The marks of one view, and the matrix from the photo to its canvas."""

    marks: list[Mark]
    matrix: geometry.Matrix


def fuse(views: list[ViewMarks], reference: geometry.Matrix) -> list[Mark]:
    """Fuse the marks of all views into one list, in the canvas that `reference` leads to."""
    moved = [
        (view, mark)
        for view, one in enumerate(views)
        for mark in _moved(one.marks, reference @ geometry.inverse(one.matrix))
    ]
    inside = [geometry.inverse(reference @ geometry.inverse(one.matrix)) for one in views]
    clusters: list[dict[int, Mark]] = []
    # The strongest first, so that a cluster gathers round its best placed mark; a view adds one mark to it at most.
    for view, mark in sorted(moved, key=lambda pair: -pair[1].heat):
        home = next((c for c in clusters if view not in c and _same_place(next(iter(c.values())), mark)), None)
        if home is None:
            clusters.append({view: mark})
        else:
            home[view] = mark
    return distinct([_merged(cluster, inside) for cluster in clusters])


def _moved(marks: list[Mark], matrix: geometry.Matrix) -> list[Mark]:
    """Move marks to another canvas."""
    if not marks:
        return []
    middles = geometry.transform(matrix, np.array([[m.x, m.y] for m in marks]))
    corners = geometry.transform(matrix, np.array([[m.x + m.width / 2, m.y + m.height / 2] for m in marks]))
    half = np.abs(corners - middles)
    return [
        replace(mark, x=float(x), y=float(y), width=float(2 * w), height=float(2 * h))
        for mark, (x, y), (w, h) in zip(marks, middles, half, strict=True)
    ]


def _same_place(one: Mark, other: Mark) -> bool:
    """Tell whether two marks of different views stand for the same thing."""
    if one.group != other.group:
        return False
    # Points are so small that views misplace them by more than their own size.
    reach = 0.45 if one.group != 1 else 1.6
    return abs(one.x - other.x) < reach * max(4.0, min(one.width, other.width)) and abs(one.y - other.y) < reach * max(
        4.0, min(one.height, other.height)
    )


def _merged(cluster: dict[int, Mark], inside: list[geometry.Matrix]) -> Mark:
    """Merge the marks of several views into one; views that do not show the place do not count."""
    strongest = max(cluster.values(), key=lambda m: m.heat)
    showing = 0
    for view, matrix in enumerate(inside):
        x, y = geometry.transform(matrix, np.array([[strongest.x, strongest.y]]))[0]
        showing += view in cluster or (4 < x < READER_WIDTH - 4 and 4 < y < READER_HEIGHT - 4)
    members = list(cluster.values())
    weights = np.array([m.heat for m in members])
    probabilities = (np.array([m.probabilities for m in members]) * weights[:, None]).sum(0) / weights.sum()
    best, second = (int(i) for i in np.argsort(-probabilities)[:2])

    def mean(values: list[float]) -> float:
        return float(np.average(values, weights=weights))

    return Mark(
        CLASSES[best], float(probabilities[best]), float(weights.sum()) / max(1, showing), CLASSES[second],
        mean([m.x for m in members]), mean([m.y for m in members]), mean([m.width for m in members]),
        mean([m.height for m in members]), tuple(probabilities.tolist()),
    )  # fmt: skip
