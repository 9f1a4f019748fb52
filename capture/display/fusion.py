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
    """The marks of one view, and the matrix from the photo to its canvas; `of_unit`: only units and signs are asked.

    A view `of_unit` has no say over characters and points; over units, the views that show them largest have the say.
    """

    marks: list[Mark]
    matrix: geometry.Matrix
    of_unit: bool = False


LARGE_ENOUGH = 0.55
"""Views that show a unit smaller than this share of the largest have no say over it; practice, no source."""


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
    partial = [one.of_unit for one in views]
    return distinct([_merged(cluster, inside, partial) for cluster in clusters])


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


def _showing(mark: Mark, inside: list[geometry.Matrix], partial: list[bool]) -> list[int]:
    """List the views that have a say over a mark: they show its place, and a unit as large as any of them."""
    shown: dict[int, float] = {}
    for view, matrix in enumerate(inside):
        if partial[view] and mark.group != 2:
            continue
        (x, y), (x1, y1) = geometry.transform(matrix, np.array([[mark.x, mark.y], [mark.x + 1.0, mark.y]]))
        if 4 < x < READER_WIDTH - 4 and 4 < y < READER_HEIGHT - 4:
            shown[view] = float(np.hypot(x1 - x, y1 - y))
    least = LARGE_ENOUGH * max(shown.values(), default=0.0) if mark.group == 2 else 0.0
    return [view for view, scale in shown.items() if scale >= least]


def _merged(cluster: dict[int, Mark], inside: list[geometry.Matrix], partial: list[bool]) -> Mark:
    """Merge the marks of several views into one; views that have no say over the place do not count."""
    strongest = max(cluster.values(), key=lambda m: m.heat)
    say = _showing(strongest, inside, partial)
    if strongest.group != 2:
        say = sorted({*say, *cluster})
    elif not set(say) & set(cluster):  # seen only where it is small: the others do not confirm it
        say = list(cluster) + say
    members = [m for view, m in cluster.items() if view in say]
    strongest, showing = max(members, key=lambda m: m.heat), len(say)
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
