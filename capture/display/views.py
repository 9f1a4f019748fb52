"""Rectified views of a display, made from the photo's own pixels: the whole display, and close to the main string."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display import geometry
from capture.display.glyphs import READER_HEIGHT, READER_WIDTH
from capture.display.pyramid import ImagePyramid, Pixels, pyramid_of


def view(photo: Pixels | ImagePyramid, quad: geometry.Quad, margin: float) -> tuple[NDArray[np.uint8], geometry.Matrix]:
    """Rectify a display onto the reader's canvas, upright.

    Args:
        photo: The photo.
        quad: What to show, corners in photo px.
        margin: Space around it as a share of the canvas.

    Returns:
        The canvas (RGB) and the matrix photo -> canvas.

    Raises:
        numpy.linalg.LinAlgError: The corners span no area.
    """
    return rectified(photo, quad, READER_WIDTH, READER_HEIGHT, margin)


def rectified(
    photo: Pixels | ImagePyramid, quad: geometry.Quad, width: int, height: int, margin: float
) -> tuple[NDArray[np.uint8], geometry.Matrix]:
    """Rectify as `view` does, onto a canvas of any size; outside the photo, its edge goes on."""
    matrix, target = geometry.fitted(quad, width, height, margin)
    scale = geometry.sides(target)[0] / max(1.0, geometry.sides(quad)[0])
    return warped(photo, quad, matrix, scale, width, height), matrix


def warped(
    photo: Pixels | ImagePyramid, quad: geometry.Quad, matrix: geometry.Matrix, scale: float, width: int, height: int
) -> NDArray[np.uint8]:
    """Warp a part of a photo onto a canvas; outside the photo, its edge goes on.

    Args:
        photo: The photo.
        quad: What counts, corners in photo px: little more than its own size around it is looked at.
        matrix: Photo -> canvas.
        scale: Size on the canvas over that in the photo.
        width: Of the canvas, px.
        height: Of the canvas, px.
    """
    pyramid = pyramid_of(photo)
    left, top, right, bottom = _needed(pyramid, quad, matrix, width, height)
    if right - left < 2 or bottom - top < 2:
        return np.zeros((height, width, 3), np.uint8)
    # shrink by averaging first, or thin strokes break up
    factor = max(scale * 1.2, 0.02) if scale < 0.75 else 1.0
    pixels, own = pyramid.at(factor)
    x0, y0 = int(left * own), int(top * own)
    part = pixels[y0 : max(y0 + 2, round(bottom * own)), x0 : max(x0 + 2, round(right * own))]
    if factor < own:
        part = np.asarray(
            cv2.resize(part, None, fx=factor / own, fy=factor / own, interpolation=cv2.INTER_AREA), np.uint8
        )
    factor = min(factor, own)
    to_photo = np.array([[1 / factor, 0, x0 / own], [0, 1 / factor, y0 / own], [0, 0, 1]])
    canvas = cv2.warpPerspective(
        part, matrix @ to_photo, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(canvas, np.uint8)


def _needed(
    pyramid: ImagePyramid, quad: geometry.Quad, matrix: geometry.Matrix, width: int, height: int
) -> tuple[int, int, int, int]:
    """Find the part of the photo that a canvas shows: left, top, right, bottom, px."""
    corners = np.column_stack([geometry.rectangle(0, 0, width, height), np.ones(4)]) @ geometry.inverse(matrix).T
    depth = corners[:, 2] * np.sign(corners[:, 2].sum())
    (x0, y0), (x1, y1) = quad.min(0), quad.max(0)
    reach = max(x1 - x0, y1 - y0)
    low, high = np.array([x0 - reach, y0 - reach]), np.array([x1 + reach, y1 + reach])
    if depth.min() > 0.05 * depth.max():  # else the canvas reaches behind the horizon of a steep display
        shown = corners[:, :2] / corners[:, 2:]
        room = 4 + 0.02 * reach  # for the smoothing kernels
        low, high = np.maximum(low, shown.min(0) - room), np.minimum(high, shown.max(0) + room)
    right, bottom = min(pyramid.width, int(high[0]) + 1), min(pyramid.height, int(high[1]) + 1)
    return max(0, int(low[0])), max(0, int(low[1])), right, bottom


def part_of(matrix: geometry.Matrix, box: tuple[float, float, float, float], pad: float) -> geometry.Quad:
    """Find the corners in the photo of a box on the canvas, widened on all sides by `pad` times its height."""
    x0, y0, x1, y1 = box
    by = pad * (y1 - y0)
    return geometry.transform(geometry.inverse(matrix), geometry.rectangle(x0 - by, y0 - by, x1 + by, y1 + by))


def turned(quad: geometry.Quad, matrix: geometry.Matrix, slope: float) -> geometry.Quad:
    """Turn the corners in the photo so that a row of this slope lies level on the canvas."""
    corners = geometry.transform(matrix, quad)
    middle = corners.mean(0)
    angle = np.arctan(slope)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return geometry.transform(geometry.inverse(matrix), (corners - middle) @ turn.T + middle)


def crop_of(photo: Pixels | ImagePyramid, quad: geometry.Quad, *, longest: int = 800) -> bytes:
    """Cut the display out, straightened, as a PNG file: what the reader looked at, for a person and the report.

    Args:
        photo: The photo.
        quad: Corners of the display in photo px.
        longest: Longest side of the result, px.
    """
    w, h = geometry.sides(quad)
    scale = min(longest / max(w, h, 1.0), 3.0)
    canvas, _ = rectified(photo, quad, max(16, round(w * scale * 1.08)), max(16, round(h * scale * 1.08)), 0.03)
    done, data = cv2.imencode(".png", canvas[:, :, ::-1])
    assert done
    return bytes(data.tobytes())
