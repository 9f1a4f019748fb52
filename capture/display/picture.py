"""Turns the bytes of a photo into upright pixels, or says why not. The one place that decodes pictures.

Promises: the type is told by content, never by name; size and pixel limits are checked from the header before
anything is decoded; the EXIF orientation is applied here and nowhere else, so every coordinate in this package is in
upright pixels. Limits follow OWASP ASVS 5.0 items 5.1.1, 5.2.1, 5.2.2 and 5.2.6 (size, content type, pixel limit).
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from capture.errors import MediaError

MAX_BYTES = 12_000_000
"""Largest photo file, bytes."""
MAX_PIXELS = 50_000_000
"""Largest picture, pixels."""
MIN_SIDE = 16
"""Smallest side of a picture, px; a cut-out row of digits can be as low as this, less cannot be read."""

_ORIENTATION, _TIME, _DETAILS, _TIME_TAKEN = 0x0112, 0x0132, 0x8769, 0x9003
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1"}
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@dataclass(frozen=True)
class Picture:
    """A decoded photo.

    Attributes:
        pixels: (height, width, 3) bytes, RGB, upright.
        kind: "JPEG", "PNG", "WEBP" or "HEIF".
        taken: When the camera says it was taken (its local time), or None.
    """

    pixels: NDArray[np.uint8]
    kind: str
    taken: datetime | None


def kind_of(data: bytes) -> str | None:
    """Tell the type of a photo by its first bytes; None for anything that is not read here."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return "HEIF"
    return None


def open_picture(data: bytes) -> Picture:
    """Decode a photo: JPEG, PNG, WEBP or HEIC/HEIF.

    Args:
        data: The file's content, at most `MAX_BYTES`.

    Raises:
        MediaError: code "photo_empty", "photo_too_large", "photo_type_unknown", "photo_too_many_pixels",
            "photo_too_small" or "photo_damaged"; the message says what to do.
    """
    if not data:
        raise MediaError("photo_empty", "The photo is empty; take it again.")
    if len(data) > MAX_BYTES:
        raise MediaError(
            "photo_too_large", f"The photo has {len(data) / 1e6:.1f} MB; at most {MAX_BYTES // 10**6} MB are read."
        )
    kind = kind_of(data)
    if kind is None:
        raise MediaError("photo_type_unknown", "This is no photo that can be read; use JPEG, PNG, WEBP or HEIC.")
    picture = _header(data, kind)
    width, height = picture.size
    if width * height > MAX_PIXELS:
        raise MediaError(
            "photo_too_many_pixels",
            f"The photo has {width} x {height} pixels; at most {MAX_PIXELS // 10**6} million are read.",
        )
    if min(width, height) < MIN_SIDE:
        raise MediaError(
            "photo_too_small", f"The photo has only {width} x {height} pixels; no display can be read in it."
        )
    orientation, taken = _exif(picture)
    try:
        upright = picture.convert("RGB")
        if orientation in _TURNS:
            upright = upright.transpose(_TURNS[orientation])
        pixels = np.asarray(upright)
    except MemoryError:
        raise
    except Exception as error:  # decoders raise what they like on damaged data
        raise _damaged() from error
    return Picture(pixels, kind, taken)


def _damaged() -> MediaError:
    return MediaError("photo_damaged", "The photo is damaged or cut off; take or send it again.")


def _header(data: bytes, kind: str) -> Image.Image:
    """Read the header only; the pixels are not decoded yet."""
    if kind == "HEIF":
        import pi_heif

        pi_heif.register_heif_opener()
    try:
        return Image.open(io.BytesIO(data), formats=[kind])
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise MediaError(
            "photo_too_many_pixels",
            f"The photo has more than {MAX_PIXELS // 10**6} million pixels. Take a smaller one.",
        ) from error
    except Exception as error:  # a malformed header may raise anything
        raise _damaged() from error


def _exif(picture: Image.Image) -> tuple[int, datetime | None]:
    """Orientation (1 where missing or nonsense) and time taken; malformed EXIF counts as none."""
    try:
        exif = picture.getexif()
        orientation = exif.get(_ORIENTATION, 1)
        stamp: Any = exif.get_ifd(_DETAILS).get(_TIME_TAKEN) or exif.get(_TIME)
    except Exception:  # malformed EXIF must not cost the photo
        return 1, None
    return (orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1), _time(stamp)


def _time(stamp: object) -> datetime | None:
    """Read an EXIF time, "2026:11:25 14:05:00"; None for anything else."""
    if not isinstance(stamp, str) or not re.fullmatch(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d\0?", stamp.strip()):
        return None
    try:
        return datetime.strptime(stamp.strip().rstrip("\0"), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
