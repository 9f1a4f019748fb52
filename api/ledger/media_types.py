"""What a file is, determined from its content alone: a closed list of types, and what the file says of itself.

Nothing here decodes pixels or sound; headers only. A file that is none of these types is kept as
"application/octet-stream" and not read.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.ledger.canonical import JsonObject
from capture.display.header import HEIF_BRANDS, read_header
from capture.errors import MediaError
from capture.speech.sound_types import sound_type


@dataclass(frozen=True)
class MediaType:
    """Media type and what it is to us: "photo", "clip" or "other"."""

    name: str
    kind: str


UNKNOWN = MediaType("application/octet-stream", "other")


_SIGNATURES: tuple[tuple[int, bytes, MediaType], ...] = (
    (0, b"\xff\xd8\xff", MediaType("image/jpeg", "photo")),
    (0, b"\x89PNG\r\n\x1a\n", MediaType("image/png", "photo")),
    (8, b"WEBP", MediaType("image/webp", "photo")),
)
_RIFF = (b"WEBP",)
_HEADER_TELLS = frozenset({"audio/wav", "audio/flac", "audio/ogg", "audio/mpeg"})
"""Sound files whose header is read where they are stored. Those of others hold tables as large as they like to claim;
they are opened only where they are decoded, by a process that has limits."""


def media_type(data: bytes) -> MediaType:
    """Tell what a file is by its first bytes."""
    head = data[:64]
    if head[4:8] == b"ftyp" and head[8:12] in HEIF_BRANDS:
        return MediaType("image/heic", "photo")
    for offset, mark, found in _SIGNATURES:
        if head[offset : offset + len(mark)] == mark and (mark not in _RIFF or head.startswith(b"RIFF")):
            return found
    sound = sound_type(head)
    return UNKNOWN if sound is None else MediaType(sound.name, "clip")


def _photo_metadata(data: bytes) -> JsonObject:
    try:
        header = read_header(data)
    except MediaError as error:
        return {"refused": error.code, "why": str(error)}
    return {
        "width": header.width,
        "height": header.height,
        "exif_orientation": header.exif.orientation,
        "exif_time": header.exif.time,
        "exif_offset": header.exif.offset,
    }


def _clip_metadata(data: bytes) -> JsonObject:
    from capture.speech.decoder import read_header  # a native library that most commands never need

    header = read_header(data)
    milliseconds = None if header.duration_s is None else round(1000 * header.duration_s)
    return {"sample_rate": header.rate, "channels": header.channels, "duration_ms": milliseconds}


def metadata(data: bytes, found: MediaType) -> JsonObject:
    """Read what a file's header says: size in pixels, EXIF time and orientation, or rate and length of sound.

    Never raises: a photo that may not be decoded becomes {"refused": code, "why": sentence}, a sound file whose header
    cannot be read {"unreadable": why}.
    """
    try:
        if found.kind == "photo":
            return _photo_metadata(data)
        if found.name in _HEADER_TELLS:
            return _clip_metadata(data)
    # Damaged and hostile headers fail in many ways; none of them may keep the file from being stored.
    except Exception as error:
        return {"unreadable": f"{type(error).__name__}: {error}"[:200]}
    return {}
