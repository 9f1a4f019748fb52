"""Finds the displays in a photo: first in the whole photo made small, then again close to each candidate.

A candidate that vanishes on the closer look is no display. Corners are in pixels of the photo, clockwise from the top
left as the display is read.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display import geometry
from capture.display.glyphs import FINDER_HEIGHT, FINDER_STRIDE, FINDER_WIDTH
from capture.display.networks import finder_map
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of

MAX_DISPLAYS = 4
"""At most this many displays in one photo."""
FIRST_LOOK = 0.25
SECOND_LOOK = 0.4
"""Heat that a candidate needs on the first and on the closer look."""
CLOSE_SHARE = 0.5
"""On the closer look, the display takes about this share of the view."""


@dataclass(frozen=True)
class Found:
    """A display: its corners and the finder's score, 0..1."""

    quad: geometry.Quad
    score: float


def glance(photo: Pixels | ImagePyramid) -> list[Found]:
    """Find the displays by the first look alone: half the work of `find`, corners less exact, and some are none.

    Raises:
        EngineError: The model is missing or fails.
    """
    pyramid = pyramid_of(photo)
    return _distinct(_look(pyramid, (0.0, 0.0, float(pyramid.width), float(pyramid.height)), FIRST_LOOK))


def find(photo: Pixels | ImagePyramid) -> list[Found]:
    """Find the displays in an upright photo (height, width, 3), RGB; highest score first, none if there are none.

    Raises:
        EngineError: The model is missing or fails.
    """
    pyramid = pyramid_of(photo)
    height, width = pyramid.height, pyramid.width
    candidates = _look(pyramid, (0.0, 0.0, float(width), float(height)), FIRST_LOOK)
    if not candidates:  # perhaps the display is small: look at overlapping quarters
        for x, y in ((0.0, 0.0), (0.45, 0.0), (0.0, 0.45), (0.45, 0.45), (0.225, 0.225)):
            candidates += _look(pyramid, (x * width, y * height, (x + 0.55) * width, (y + 0.55) * height), FIRST_LOOK)
    result: list[Found] = []
    for candidate in _distinct(candidates)[:MAX_DISPLAYS]:
        closer = _closer(pyramid, candidate)
        if closer is not None:
            result.append(closer)
    return _distinct(result)


def _closer(pyramid: ImagePyramid, candidate: Found) -> Found | None:
    """Look again, with the display large in view; None if it is no display after all."""
    (x0, y0), (x1, y1) = candidate.quad.min(0), candidate.quad.max(0)
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    half = max((x1 - x0) / 2, (y1 - y0) / 2 * FINDER_WIDTH / FINDER_HEIGHT) / CLOSE_SHARE
    view = (cx - half, cy - half * FINDER_HEIGHT / FINDER_WIDTH, cx + half, cy + half * FINDER_HEIGHT / FINDER_WIDTH)
    seen = _look(pyramid, view, SECOND_LOOK)
    near = [f for f in seen if np.linalg.norm(f.quad.mean(0) - candidate.quad.mean(0)) < half * CLOSE_SHARE]
    if not near:
        return None
    best = max(near, key=lambda f: f.score)
    # The geometric mean: a display must score on both looks, and neither alone can carry it.
    return Found(best.quad, float(np.sqrt(best.score * candidate.score)))


def _look(pyramid: ImagePyramid, box: tuple[float, float, float, float], least: float) -> list[Found]:
    """Run the network on a part of the photo, fitted into its input with black around."""
    height, width = pyramid.height, pyramid.width
    x0, y0 = max(0, int(box[0])), max(0, int(box[1]))
    x1, y1 = min(width, round(box[2])), min(height, round(box[3]))
    if x1 - x0 < 8 or y1 - y0 < 8:
        return []
    scale = min(FINDER_WIDTH / (x1 - x0), FINDER_HEIGHT / (y1 - y0))
    w, h = max(1, round((x1 - x0) * scale)), max(1, round((y1 - y0) * scale))
    pixels, own = pyramid.at(scale)
    part = pixels[int(y0 * own) : max(int(y0 * own) + 1, round(y1 * own)), int(x0 * own) : round(x1 * own)]
    small = cv2.resize(part, (w, h), interpolation=cv2.INTER_AREA if scale < own else cv2.INTER_LINEAR)
    canvas = np.zeros((FINDER_HEIGHT, FINDER_WIDTH, 3), np.uint8)
    left, top = (FINDER_WIDTH - w) // 2, (FINDER_HEIGHT - h) // 2
    canvas[top : top + h, left : left + w] = small
    found = _decode(finder_map(canvas), least)
    return [Found((f.quad - [left, top]) / scale + [x0, y0], f.score) for f in found]


def _decode(out: NDArray[np.float32], least: float) -> list[Found]:
    """Find the heat map's peaks, with corners averaged over the cells around each; px of the network's input."""
    heat = out[0]
    peaks = (heat >= cv2.dilate(heat, np.ones((5, 5), np.uint8))) & (heat > least)
    rows, cols = heat.shape
    ys, xs = np.mgrid[0:rows, 0:cols]
    result = []
    for y, x in np.argwhere(peaks):
        # Corners of one cell are noisy; its neighbours point at the same corners, weighted by how hot they are.
        around = (np.abs(ys - y) <= 2) & (np.abs(xs - x) <= 2) & (heat > heat[y, x] * 0.5)
        weight = heat[around]
        corners = []
        for i in range(4):
            cx = (out[2 + 2 * i][around] * 8 + xs[around] + 0.5) @ weight / weight.sum()
            cy = (out[3 + 2 * i][around] * 8 + ys[around] + 0.5) @ weight / weight.sum()
            corners.append([cx * FINDER_STRIDE, cy * FINDER_STRIDE])
        quad = np.array(corners, float)
        if geometry.is_convex(quad) and min(geometry.sides(quad)) > 4:
            result.append(Found(quad, float(heat[y, x])))
    return result


def _distinct(found: list[Found]) -> list[Found]:
    """Keep, of two displays whose middles lie in each other's area, only the higher score; highest first."""
    kept: list[Found] = []
    for one in sorted(found, key=lambda f: -f.score):
        middle = one.quad.mean(0)
        if all(np.linalg.norm(middle - other.quad.mean(0)) > 0.5 * min(geometry.sides(other.quad)) for other in kept):
            kept.append(one)
    return kept
