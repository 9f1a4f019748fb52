"""What a file is, told by its content alone: a closed list of types, and what the file says of itself.

Nothing here decodes pixels or sound; headers only. A file that is none of these types is kept as
"application/octet-stream" and not read.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from typing import Any

HEIC_BRANDS = frozenset({b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"})
"""`ftyp` brands of HEIF pictures (ISO/IEC 23008-12, from memory); any other ISO media file is taken as mp4."""

MAX_PIXELS = 50_000_000
"""Largest picture that is decoded, pixels; larger ones are kept and reported: gigapixels fit in a few kB."""

_EXIF_ORIENTATION, _EXIF_IFD = 0x0112, 0x8769
_EXIF_TIME, _EXIF_OFFSET = 0x9003, 0x9011


@dataclass(frozen=True)
class MediaType:
    """Media type and what it is to us: "photo", "clip" or "other"."""

    name: str
    kind: str


UNKNOWN = MediaType("application/octet-stream", "other")


_MP3 = MediaType("audio/mpeg", "clip")
_SIGNATURES: tuple[tuple[int, bytes, MediaType], ...] = (
    (0, b"\xff\xd8\xff", MediaType("image/jpeg", "photo")),
    (0, b"\x89PNG\r\n\x1a\n", MediaType("image/png", "photo")),
    (8, b"WEBP", MediaType("image/webp", "photo")),
    (8, b"WAVE", MediaType("audio/wav", "clip")),
    (0, b"fLaC", MediaType("audio/flac", "clip")),
    (0, b"OggS", MediaType("audio/ogg", "clip")),
    (0, b"ID3", _MP3),
    *((0, bytes((0xFF, second)), _MP3) for second in (0xFB, 0xFA, 0xF3, 0xF2)),
)
_RIFF = (b"WEBP", b"WAVE")


def media_type(data: bytes) -> MediaType:
    """Tell what a file is by its first bytes."""
    head = data[:64]
    if head[4:8] == b"ftyp":
        photo = head[8:12] in HEIC_BRANDS
        return MediaType("image/heic", "photo") if photo else MediaType("audio/mp4", "clip")
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return MediaType("audio/webm", "clip") if b"webm" in head else UNKNOWN
    for offset, mark, found in _SIGNATURES:
        if head[offset : offset + len(mark)] == mark and (mark not in _RIFF or head.startswith(b"RIFF")):
            return found
    return UNKNOWN


def _text(value: object) -> str | None:
    return value.strip("\0 ") if isinstance(value, str) else None


def _photo_metadata(data: bytes) -> dict[str, Any]:
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # broken EXIF is worth a word in the metadata, not on the console
        try:
            opened = Image.open(io.BytesIO(data))
        except Image.DecompressionBombError:
            return {"too_many_pixels": True}
        with opened as image:
            exif = image.getexif()
            inner = exif.get_ifd(_EXIF_IFD)
            orientation = exif.get(_EXIF_ORIENTATION)
            return {
                "width": image.width,
                "height": image.height,
                "exif_orientation": orientation if isinstance(orientation, int) else None,
                "exif_time": _text(inner.get(_EXIF_TIME)),
                "exif_offset": _text(inner.get(_EXIF_OFFSET)),
            }


def _clip_metadata(data: bytes) -> dict[str, Any]:
    import soundfile

    info = soundfile.info(io.BytesIO(data))
    milliseconds = round(1000 * info.frames / info.samplerate) if 0 < info.frames < 2**40 else None
    return {"sample_rate": info.samplerate, "channels": info.channels, "duration_ms": milliseconds}


def metadata(data: bytes, found: MediaType) -> dict[str, Any]:
    """What a file's header says: size in pixels, EXIF time and orientation, or rate and length of sound.

    Never raises: a header that cannot be read becomes {"unreadable": why}.
    """
    try:
        if found.name == "image/heic":
            import pi_heif

            pi_heif.register_heif_opener()
        if found.kind == "photo":
            return _photo_metadata(data)
        if found.name in ("audio/wav", "audio/flac", "audio/ogg", "audio/mpeg"):
            return _clip_metadata(data)
    except Exception as error:
        return {"unreadable": f"{type(error).__name__}: {error}"[:200]}
    return {}
