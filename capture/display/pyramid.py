"""A photo at full size, half, quarter and so on: each made once, by averaging, when something asks for it.

Every look at a part of a photo shrinks that part; from the nearest level above, this costs a fraction of shrinking the
full photo anew for each look, and the result is the same mean of the same pixels.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]

MIN_LEVEL_SIDE = 256
"""No level has a shorter side below this, px; what is smaller is cheap to shrink directly."""


class ImagePyramid:
    """The image pyramid of one photo.

    Attributes:
        pixels: The photo itself: (height, width, 3), RGB, upright.
    """

    def __init__(self, pixels: Pixels) -> None:
        """Take a photo; nothing is computed yet."""
        self.pixels = pixels
        self._levels: list[Pixels] = [pixels]

    @property
    def width(self) -> int:
        """Of the photo itself, px."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Of the photo itself, px."""
        return int(self.pixels.shape[0])

    def at(self, scale: float) -> tuple[Pixels, float]:
        """Choose the smallest level still at least twice as fine as a scale, so that shrinking it loses nothing.

        Args:
            scale: Wanted size as a share of the photo's own.

        Returns:
            The level, and its own scale: 1, 1/2, 1/4, ...
        """
        index = 0
        while 0.5 ** (index + 1) >= 2 * scale and self._has(index + 1):
            index += 1
        return self._levels[index], 0.5**index

    def _has(self, index: int) -> bool:
        """Make a level, unless it would be too small."""
        if index < len(self._levels):
            return True
        last = self._levels[-1]
        height, width = last.shape[0] // 2, last.shape[1] // 2
        if min(height, width) < MIN_LEVEL_SIDE:
            return False
        even = last[: 2 * height, : 2 * width]  # halving by whole pixels keeps every coordinate exact
        half = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
        self._levels.append(np.asarray(half, np.uint8))
        return True


def pyramid_of(photo: Pixels | ImagePyramid) -> ImagePyramid:
    """Give a photo's image pyramid; one that is a pyramid already is given back."""
    return photo if isinstance(photo, ImagePyramid) else ImagePyramid(photo)
