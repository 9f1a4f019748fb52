"""What a file is, determined from its content alone: a closed list of types, and what the file says of itself.

Nothing here decodes pixels or sound; headers only. A file that is none of these types is kept as
"application/octet-stream" and not read.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

from api.ledger.canonical import JsonObject
from capture.display.header import HEIF_BRANDS, read_header
from capture.errors import MediaError


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
        photo = head[8:12] in HEIF_BRANDS
        return MediaType("image/heic", "photo") if photo else MediaType("audio/mp4", "clip")
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return MediaType("audio/webm", "clip") if b"webm" in head else UNKNOWN
    for offset, mark, found in _SIGNATURES:
        if head[offset : offset + len(mark)] == mark and (mark not in _RIFF or head.startswith(b"RIFF")):
            return found
    return UNKNOWN


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
    import soundfile  # a native library that most commands never need

    info = soundfile.info(io.BytesIO(data))
    # A header can claim any length, and of a stream without an end libsndfile gives its largest number.
    milliseconds = round(1000 * info.frames / info.samplerate) if 0 < info.frames < 2**40 else None
    return {"sample_rate": info.samplerate, "channels": info.channels, "duration_ms": milliseconds}


def metadata(data: bytes, found: MediaType) -> JsonObject:
    """Read what a file's header says: size in pixels, EXIF time and orientation, or rate and length of sound.

    Never raises: a photo that may not be decoded becomes {"refused": code, "why": sentence}, a sound file whose header
    cannot be read {"unreadable": why}.
    """
    try:
        if found.kind == "photo":
            return _photo_metadata(data)
        if found.name in ("audio/wav", "audio/flac", "audio/ogg", "audio/mpeg"):
            return _clip_metadata(data)
    # Damaged and hostile headers fail in many ways; none of them may keep the file from being stored.
    except Exception as error:
        return {"unreadable": f"{type(error).__name__}: {error}"[:200]}
    return {}
