"""Photos as they come in: corners that a person marked, bursts, and a small upright picture for the page."""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence

from api.intake.errors import (
    BurstCountWrong,
    BurstHoldsOther,
    CornerOutside,
    MarkedPhotoUnreadable,
    NotFourCorners,
    PreviewUnreadable,
)
from api.intake.recognisers import Quad
from api.ledger.media_types import media_type
from capture.errors import MediaError

Corners = Sequence[Sequence[float]]
"""Four corners as shares of the upright photo's width and height."""

BEYOND = 0.25
"""How far outside the photo a corner may lie, as a share of its side: a display that is cut off has such corners."""
MOST_FRAMES = 8
"""Photos in one burst that the server takes: with the largest ones, 200 MB."""
PREVIEW_SIDE = 1600
"""Longest side of the picture that the page shows, px."""

_one_preview = threading.Lock()  # a photo of 50 megapixels takes 100 MB to decode, in the process that serves pages


def in_pixels(data: bytes, corners: Corners) -> Quad:
    """Give corners in pixels of the upright photo.

    Raises:
        MarkedCornersInvalid: There are not four, or one lies far outside.
        MarkedPhotoUnreadable: The photo's header cannot be read.
    """
    from capture.display.header import read_header

    if len(corners) != 4 or not all(len(corner) == 2 for corner in corners):
        raise NotFourCorners()
    if not all(math.isfinite(v) and -BEYOND <= v <= 1 + BEYOND for corner in corners for v in corner):
        raise CornerOutside()
    try:
        width, height = read_header(data).upright
    except MediaError as error:
        raise MarkedPhotoUnreadable(problem=error) from None
    return tuple((float(x) * width, float(y) * height) for x, y in corners)


def check_burst(frames: Sequence[bytes]) -> None:
    """Refuse what is no burst, before anything is stored.

    Raises:
        BadBurst: None, too many, or a file among them that is no photo.
    """
    if not 1 <= len(frames) <= MOST_FRAMES:
        raise BurstCountWrong(count=len(frames), most=MOST_FRAMES)
    for index, data in enumerate(frames):
        if media_type(data).kind != "photo":
            raise BurstHoldsOther(number=index + 1)


def preview(data: bytes) -> bytes:
    """Render a photo upright and small, as JPEG: for browsers that cannot show its type, for slow networks.

    Raises:
        PreviewUnreadable: It cannot be decoded.
    """
    import cv2

    from capture.display.picture import open_picture

    with _one_preview:
        try:
            pixels = open_picture(data).pixels
        except MediaError as error:
            raise PreviewUnreadable(problem=error) from None
        scale = min(1.0, PREVIEW_SIDE / max(pixels.shape[:2]))
        small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else pixels
        done, encoded = cv2.imencode(".jpg", small[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])
    assert done
    return bytes(encoded.tobytes())
