"""Turns the bytes of a photo into upright pixels, or says why not. The one place that decodes pictures.

Promises: the type is determined from the content, never from the name; what `header` refuses is refused before anything
is decoded; the EXIF orientation is applied here and nowhere else, so every coordinate in this package is in upright
pixels of the photo. A very large JPEG is decoded at half its size; `Picture.scale` says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray

from capture.display.errors import PhotoDamaged
from capture.display.header import MAX_BYTES, MAX_PIXELS, MIN_SIDE, Header, essential, kind_of, read_header
from capture.display.memory import give_back

__all__ = ["MAX_BYTES", "MAX_PIXELS", "MIN_SIDE", "Picture", "kind_of", "open_picture"]

HALF_ABOVE = 16_800_000
"""A JPEG of more pixels is decoded at half its width and height: sensors with that many blur over several of them, and
the full picture would take 150 MB."""

LARGE = 4_000_000
"""Before a picture of more pixels is decoded, memory left free by the one before is given back: decoding it twice over
(OpenCV copies what it decoded) is when a process that reads photos takes most."""

STRIP = 128
"""Rows whose colours change places at once."""

_TURNS: dict[int, tuple[int | None, int | None]] = {
    2: (None, 1),
    3: (cv2.ROTATE_180, None),
    4: (None, 0),
    5: (cv2.ROTATE_90_CLOCKWISE, 1),
    6: (cv2.ROTATE_90_CLOCKWISE, None),
    7: (cv2.ROTATE_90_CLOCKWISE, 0),
    8: (cv2.ROTATE_90_COUNTERCLOCKWISE, None),
}
"""EXIF orientation -> how to turn, then how to mirror (1: left and right change places, 0: top and bottom)."""


@dataclass(frozen=True)
class Picture:
    """A decoded photo.

    Attributes:
        pixels: (height, width, 3) bytes, RGB, upright.
        kind: "JPEG", "PNG", "WEBP" or "HEIF".
        taken: When the camera says it was taken (its local time), or None.
        scale: Size of `pixels` as a share of the photo's own: 1, or 0.5 for a very large JPEG.
    """

    pixels: NDArray[np.uint8]
    kind: str
    taken: datetime | None
    scale: float = 1.0


def open_picture(data: bytes) -> Picture:
    """Decode a photo: JPEG, PNG, WEBP or HEIC/HEIF.

    Args:
        data: The file's content, at most `MAX_BYTES`.

    Raises:
        MediaError: The codes of `header.read_header`; the message says what to do.
    """
    header = read_header(data)
    half = header.kind == "JPEG" and header.width * header.height > HALF_ABOVE
    if header.width * header.height > LARGE:
        give_back()
    try:
        pixels = _heif(data) if header.kind == "HEIF" else _decoded(data, header, half)
    except MemoryError:
        raise
    except Exception as error:  # decoders raise what they like on damaged data
        raise PhotoDamaged() from error
    turn, mirror = _TURNS.get(header.exif.orientation or 1, (None, None))
    if turn is not None:
        pixels = np.asarray(cv2.rotate(pixels, turn), np.uint8)
    if mirror is not None:
        pixels = np.asarray(cv2.flip(pixels, mirror), np.uint8)
    return Picture(pixels, header.kind, header.exif.taken, 0.5 if half else 1.0)


def _decoded(data: bytes, header: Header, half: bool) -> NDArray[np.uint8]:
    """Decode JPEG, PNG and WebP, as stored; a picture of another size than its header says is damaged."""
    flags = cv2.IMREAD_IGNORE_ORIENTATION | (cv2.IMREAD_REDUCED_COLOR_2 if half else cv2.IMREAD_COLOR)
    plain = essential(data) if header.kind == "PNG" else data
    pixels = cv2.imdecode(np.frombuffer(plain, np.uint8), flags)
    divisor = 2 if half else 1
    wanted = (-(-header.height // divisor), -(-header.width // divisor))
    if pixels is None or pixels.shape[:2] != wanted:
        raise PhotoDamaged()
    for top in range(0, pixels.shape[0], STRIP):  # in place; all at once would take the picture's size again
        strip = pixels[top : top + STRIP]
        cv2.cvtColor(strip, cv2.COLOR_BGR2RGB, dst=strip)
    return np.asarray(pixels, np.uint8)


def _heif(data: bytes) -> NDArray[np.uint8]:
    """Decode HEIC and HEIF.

    Without Pillow's plugin: that one takes a cut-off file where any library of the process has set Pillow's global
    `LOAD_TRUNCATED_IMAGES`, as WeasyPrint does.
    """
    import pi_heif

    return np.asarray(pi_heif.open_heif(data).to_pillow().convert("RGB"))
