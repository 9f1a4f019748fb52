"""Pictures and clips for the report: reduced, re-encoded pictures and original clips.

A picture in the report is never the uploaded file: it is decoded, turned upright and encoded again, so that nothing
hidden in the file travels on (OWASP ASVS 5.0, 5.2.2). The original stays untouched in the store; its hash is printed.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence

from PIL import Image

from api.report.content import EmbeddedPicture
from capture.display.picture import open_picture
from capture.errors import MediaError

PREVIEW_SIDE = 420  # px: longest side of a photo in the annex; the whole file is attached or lies beside
CROP_SIDE = 300  # px: longest side of the detail beside a value
LOGO_SIDE = 480  # px
CROP_MARGIN = 0.18  # of the display's size, so that a reader sees the frame around the digits
JPEG_QUALITY = 74

# Types that browsers play; what Chromium, Firefox and Safari all play comes first.
PLAYABLE = (
    "audio/wav",
    "audio/flac",
    "audio/mp4",
    "audio/mpeg",
    "audio/ogg",
    "audio/webm",
)


SUFFIXES = {
    "audio/flac": "flac",
    "audio/wav": "wav",
    "audio/mp4": "m4a",
    "audio/mpeg": "mp3",
    "audio/ogg": "ogg",
    "audio/webm": "webm",
    "audio/aac": "aac",
    "audio/amr": "amr",
    "audio/3gpp": "3gp",
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
}
"""Ends of the names under which whole files are handed on; "bin" for any other type."""


def plain_type(media_type: str) -> str:
    """Give a media type without parameters and by its usual name: "audio/x-FLAC; rate=16000" gives "audio/flac"."""
    return media_type.partition(";")[0].strip().lower().replace("/x-", "/")


def plays(media_type: str) -> bool:
    """Tell whether browsers play this type."""
    return plain_type(media_type) in PLAYABLE


def audio_uri(media_type: str, content: bytes) -> str:
    """Give the original clip as a data URI, or "" for a type that browsers do not play."""
    if not plays(media_type):
        return ""
    return f"data:{plain_type(media_type)};base64,{base64.b64encode(content).decode('ascii')}"


def upright(content: bytes) -> Image.Image | None:
    """Decode a photo, turned upright by its EXIF orientation; None where it cannot be decoded or is too large."""
    try:
        opened = open_picture(content)
    except MediaError:
        return None
    picture = Image.fromarray(opened.pixels)
    if opened.scale != 1:  # corners are given in the photo's own pixels
        picture = picture.resize((round(picture.width / opened.scale), round(picture.height / opened.scale)))
    return picture


def _encode(picture: Image.Image, side: int, alt: str) -> EmbeddedPicture:
    small = picture.copy()
    small.thumbnail((side, side), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return EmbeddedPicture(out.getvalue(), alt, small.width, small.height)


def logo(content: bytes) -> EmbeddedPicture | None:
    """Encode a company's logo anew, on white, at most `LOGO_SIDE` wide; None where it is no picture."""
    picture = upright(content)
    return None if picture is None else _encode(picture, LOGO_SIDE, "Logo")


def preview(picture: Image.Image, alt: str) -> EmbeddedPicture:
    """Reduce the whole photo to `PREVIEW_SIDE`."""
    return _encode(picture, PREVIEW_SIDE, alt)


def crop(picture: Image.Image, quad: Sequence[Sequence[float]], alt: str) -> EmbeddedPicture:
    """Give the display in the photo: the upright box around its corners with a margin, pixels otherwise untouched.

    Args:
        picture: Upright photo.
        quad: Corners in its pixels; fewer than three, or a box outside the picture, give the whole photo.
        alt: Text for people who cannot see it.
    """
    if len(quad) < 3:
        return _encode(picture, CROP_SIDE, alt)
    xs, ys = [float(p[0]) for p in quad], [float(p[1]) for p in quad]
    pad_x, pad_y = (max(xs) - min(xs)) * CROP_MARGIN, (max(ys) - min(ys)) * CROP_MARGIN
    box = (
        max(0, int(min(xs) - pad_x)),
        max(0, int(min(ys) - pad_y)),
        min(picture.width, int(max(xs) + pad_x) + 1),
        min(picture.height, int(max(ys) + pad_y) + 1),
    )
    if box[2] - box[0] < 8 or box[3] - box[1] < 8:
        return _encode(picture, CROP_SIDE, alt)
    return _encode(picture.crop(box), CROP_SIDE, alt)
