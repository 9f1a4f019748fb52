"""What kind of sound file it is, by its first bytes: a closed list, the same for storing and for decoding."""

from __future__ import annotations

from dataclasses import dataclass

HEAD = 64
"""First bytes that tell, at most."""


@dataclass(frozen=True)
class SoundType:
    """A kind of sound file.

    Attributes:
        name: Media type.
        container: How the decoder calls its layout.
        exact: Its header says how many samples there are, so that a file cut short shows itself.
    """

    name: str
    container: str
    exact: bool = False


_MP4 = SoundType("audio/mp4", "mov", exact=True)
_3GP = SoundType("audio/3gpp", "mov", exact=True)
_WAV = SoundType("audio/wav", "wav")
_MP3 = SoundType("audio/mpeg", "mp3")
_WEBM = SoundType("audio/webm", "matroska")
_STARTS = (
    (b"fLaC", SoundType("audio/flac", "flac", exact=True)),
    (b"OggS", SoundType("audio/ogg", "ogg")),
    (b"ID3", _MP3),
    (b"#!AMR\n", SoundType("audio/amr", "amr")),
    (b"#!AMR-WB\n", SoundType("audio/amr-wb", "amr")),
)
_AAC = SoundType("audio/aac", "aac")
_LAYER = 0x06  # of the second byte of a frame: which layer of MPEG audio; 0 is AAC (ISO/IEC 13818-7, 6.2.1)


def sound_type(data: bytes) -> SoundType | None:
    """Tell what kind of sound file begins so; None where it is none that is read here.

    Args:
        data: The file, or its first `HEAD` bytes; a picture in an "ftyp" container must be sorted out before.
    """
    head = data[:HEAD]
    if head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE":
        return _WAV
    if head[4:8] == b"ftyp":
        return _3GP if head[8:10] == b"3g" else _MP4
    if head.startswith(b"\x1a\x45\xdf\xa3"):
        return _WEBM if b"webm" in head else None
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF0 == 0xF0:
        return _MP3 if head[1] & _LAYER else _AAC
    return next((found for start, found in _STARTS if head.startswith(start)), None)
