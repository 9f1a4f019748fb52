"""Plane geometry of displays: quadrilaterals, the matrices between picture and rectified canvas. numpy only.

A quad is an array (4, 2) of picture pixels, clockwise from the display's own top left corner as it is read.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Quad = NDArray[np.float64]
Matrix = NDArray[np.float64]


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Quad:
    """Give the corners of an upright rectangle."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def transform(matrix: Matrix, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Move points (n, 2) by a 3x3 matrix."""
    moved = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(moved[:, :2] / moved[:, 2:])


def between(source: Quad, target: Quad) -> Matrix:
    """Solve for the matrix that takes four corners to four others.

    Raises:
        numpy.linalg.LinAlgError: The corners do not span an area.
    """
    rows, right = [], []
    for (x, y), (u, v) in zip(source, target, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)


def inverse(matrix: Matrix) -> Matrix:
    """Invert a matrix.

    Raises:
        numpy.linalg.LinAlgError: It cannot be undone.
    """
    return np.asarray(np.linalg.inv(matrix), np.float64)


def sides(quad: Quad) -> tuple[float, float]:
    """Give the mean width and height of a quad, px."""
    edge = np.linalg.norm(np.roll(quad, -1, 0) - quad, axis=1)
    return float(edge[0] + edge[2]) / 2, float(edge[1] + edge[3]) / 2


def fitted(quad: Quad, width: int, height: int, margin: float) -> tuple[Matrix, Quad]:
    """Fit a quad upright and centred into a canvas, in its own aspect: the matrix from picture to canvas.

    Args:
        quad: Corners in the picture.
        width: Of the canvas, px.
        height: Of the canvas, px.
        margin: Space around the quad as a share of the canvas.

    Returns:
        Picture -> canvas, and where the corners come to lie on the canvas.
    """
    w, h = sides(quad)
    scale = min(width * (1 - 2 * margin) / max(w, 1.0), height * (1 - 2 * margin) / max(h, 1.0))
    w, h = w * scale, h * scale
    x0, y0 = (width - w) / 2, (height - h) / 2
    target = rectangle(x0, y0, x0 + w, y0 + h)
    return between(quad, target), target


def is_convex(quad: Quad) -> bool:
    """Tell whether the corners run clockwise (in picture coordinates, y downwards) around a convex area."""
    edge = np.roll(quad, -1, 0) - quad
    following = np.roll(edge, -1, 0)
    return bool(np.all(edge[:, 0] * following[:, 1] - edge[:, 1] * following[:, 0] > 0))
