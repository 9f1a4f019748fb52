"""Halved photos: the same means, exact coordinates, and views that look as if made from the full photo."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from capture.display import geometry, views
from capture.display.pyramid import MIN_LEVEL_SIDE, ImagePyramid, pyramid_of
from fixtures.training.displays.photo import render


def picture(height: int, width: int) -> np.ndarray:
    small = np.random.default_rng(5).integers(0, 255, (height // 16 + 1, width // 16 + 1, 3), np.uint8)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.uint8)


@given(st.floats(0.01, 2.0))
@settings(deadline=None, max_examples=40)
def test_a_level_is_twice_as_fine_as_wanted_or_the_photo_itself(scale: float) -> None:
    pyramid = ImagePyramid(picture(1200, 1600))
    pixels, own = pyramid.at(scale)
    assert own == 1 or own >= 2 * scale
    assert min(pixels.shape[:2]) >= MIN_LEVEL_SIDE
    assert pixels.shape[:2] == (round(1200 * own), round(1600 * own))


def test_a_level_is_the_mean_of_the_photo_s_own_pixels() -> None:
    photo = picture(1025, 1537)  # odd sides: the last row and column are left out, nothing moves
    half, own = ImagePyramid(photo).at(0.25)
    assert own == 0.5
    mean = photo[:1024, :1536].reshape(512, 2, 768, 2, 3).mean((1, 3))
    assert float(np.abs(half - mean).max()) <= 1.0


def test_levels_are_kept() -> None:
    pyramid = ImagePyramid(picture(1200, 1600))
    assert pyramid.at(0.1)[0] is pyramid.at(0.1)[0]
    assert pyramid_of(pyramid) is pyramid


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_a_view_from_levels_looks_like_one_from_the_full_photo(share: float) -> None:
    """As OpenCV warps it from a photo that was smoothed first; a few levels of 255 apart at most."""
    spec = {
        "seed": 7, "style": "tester_lcd", "shows": {"main": "34.70", "unit": "MOhm"},
        "spoil": {"share": share, "tilt": 12, "yaw": 9}, "size": (3200, 2400),
    }  # fmt: skip
    made = render(spec)
    pixels, quad = np.asarray(made.picture, np.uint8), made.displays[0].quad
    canvas, matrix = views.view(pixels, quad, 0.03)
    scale = geometry.sides(geometry.transform(matrix, quad))[0] / geometry.sides(quad)[0]
    smooth = cv2.GaussianBlur(pixels, (0, 0), 0.45 / scale) if scale < 0.75 else pixels
    plain = cv2.warpPerspective(
        smooth, matrix, (canvas.shape[1], canvas.shape[0]), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    assert float(np.abs(canvas.astype(int) - plain.astype(int)).mean()) < 6
    assert float(np.corrcoef(canvas.ravel(), plain.ravel())[0, 1]) > 0.97
