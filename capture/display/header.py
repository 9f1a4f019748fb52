"""What a photo file says of itself before any pixel is decoded: type, size in pixels, EXIF. And what is refused here.

Promises: nothing is decompressed, nothing is copied but the EXIF block, and the work is bounded by the limits below: a
file of a few kilobytes that claims gigapixels, or one of megabytes that is nothing but tiny pieces, costs next to
nothing. Limits follow OWASP ASVS 5.0 items 5.1.1, 5.2.1, 5.2.2 and 5.2.6 (size, content type, pixel limit).
Layouts: JPEG markers (ITU-T T.81, annex B), PNG chunks (W3C PNG, 5), RIFF chunks of WebP (RFC 9649); all from memory.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass

from capture.display.errors import (
    PhotoDamaged,
    PhotoEmpty,
    PhotoOverPixelLimit,
    PhotoPixelsImplausible,
    PhotoTooComplex,
    PhotoTooLarge,
    PhotoTooSmall,
    PhotoTypeUnknown,
)
from capture.display.exif import Exif, read_exif

MAX_BYTES = 25_000_000
"""Largest photo file, bytes: a phone's JPEG of 50 million pixels has up to some 20 MB. Storing and reading share it, so
that no photo is kept that could not be read for its size alone."""
MAX_PIXELS = 50_000_000
"""Largest picture, pixels: what phones take."""
MAX_PLAIN_PIXELS = 16_800_000
"""The same for PNG and WebP, which cannot be decoded at a reduced size; 4096 x 4096."""
MIN_SIDE = 16
"""Smallest side of a picture, px; less cannot hold a display."""
MAX_PIXELS_PER_BYTE = 100
"""Above 4 million pixels, a file that holds more of them a byte is no photo: an even grey JPEG has 64, a rendered photo
of 12 million pixels about 18 (both measured, quality 75)."""
SMALL_ENOUGH = 4_000_000
"""Pixels that may be decoded however small the file is."""
MAX_SEGMENTS = 20_000
"""Segments or chunks of a file: 25 MB of PNG in pieces of 8 kB have 3,000."""
MAX_FILL_BYTES = 1_000
"""Bytes that only fill up before a mark."""
MAX_SCANNED_PIXELS = 200_000_000
"""Pixels times scans of a progressive JPEG: each scan goes over all pixels; 12 million in 10 scans are usual."""

_MARK = re.compile(rb"\xff[^\x00\x01\xd0-\xd7\xff]")

HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
"""`ftyp` brands of HEIF pictures (ISO/IEC 23008-12, from memory)."""


@dataclass(frozen=True)
class Header:
    """A photo's header.

    Attributes:
        kind: "JPEG", "PNG", "WEBP" or "HEIF".
        width: As stored, px.
        height: As stored, px.
        exif: What EXIF says; empty for HEIF, whose library applies the orientation itself.
        body: Bytes that hold pixels; what a file carries besides is no sign of a photo.
    """

    kind: str
    width: int
    height: int
    exif: Exif
    body: int

    @property
    def upright(self) -> tuple[int, int]:
        """Width and height of the photo as it is looked at, px."""
        turned = (self.exif.orientation or 1) >= 5
        return (self.height, self.width) if turned else (self.width, self.height)


def kind_of(data: bytes) -> str | None:
    """Tell the type of a photo by its first bytes; None for anything that is not read here."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp" and data[8:12] in HEIF_BRANDS:
        return "HEIF"
    return None


def read_header(data: bytes) -> Header:
    """Read a photo's header and refuse what may not be decoded.

    Args:
        data: The file's content.

    Raises:
        MediaError: code "photo_empty", "photo_too_large", "photo_type_unknown", "photo_too_many_pixels",
            "photo_too_small", "photo_too_complex" or "photo_damaged"; the message says what to do.
    """
    if not data:
        raise PhotoEmpty()
    if len(data) > MAX_BYTES:
        raise PhotoTooLarge(megabytes=len(data) / 1e6, most=MAX_BYTES // 10**6)
    kind = kind_of(data)
    if kind is None:
        raise PhotoTypeUnknown()
    try:
        header = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp, "HEIF": _heif}[kind](data)
    except (struct.error, IndexError):
        raise PhotoDamaged() from None
    _check(header)
    return header


def _check(header: Header) -> None:
    width, height = header.width, header.height
    most = MAX_PLAIN_PIXELS if header.kind in ("PNG", "WEBP") else MAX_PIXELS
    if width * height > most:
        raise PhotoOverPixelLimit(width=width, height=height, millions=most / 10**6)
    if width * height > max(SMALL_ENOUGH, MAX_PIXELS_PER_BYTE * header.body):
        raise PhotoPixelsImplausible(width=width, height=height, kilobytes=header.body / 1000)
    if min(width, height) < MIN_SIDE:
        raise PhotoTooSmall(width=width, height=height)


def _jpeg(data: bytes) -> Header:
    """Walk the markers up to the first scan; the end mark must be there after the last scan."""
    size: tuple[int, int] | None = None
    exif = Exif()
    at = 2
    for _ in range(MAX_SEGMENTS):
        at = _after_fill(data, at)
        mark = data[at + 1]
        if mark == 0x01 or 0xD0 <= mark <= 0xD8:
            at += 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        if mark == 0xDA:
            break
        if 0xC0 <= mark <= 0xCF and mark not in (0xC4, 0xC8, 0xCC) and size is None:
            height, width = struct.unpack_from(">HH", data, at + 5)
            size = width, height
        elif mark == 0xE1 and data[at + 4 : at + 10] == b"Exif\0\0" and exif == Exif():
            exif = read_exif(data[at + 4 : at + 2 + length])
        at += 2 + max(2, length)
    else:
        raise PhotoTooComplex(made_of=f"more than {MAX_SEGMENTS} pieces")
    scans, end = _scans(data, at)
    if size is None or 0 in size:
        raise PhotoDamaged()
    # Three scans cost little whatever the size.
    if scans > 3 and scans * size[0] * size[1] > MAX_SCANNED_PIXELS:
        raise PhotoTooComplex(made_of=f"{scans} scans")
    return Header("JPEG", *size, exif, end - at)


def _after_fill(data: bytes, at: int) -> int:
    """Find where the next mark begins, behind bytes that only fill up."""
    if data[at] != 0xFF:
        raise PhotoDamaged()
    for more in range(MAX_FILL_BYTES):
        if data[at + more + 1] != 0xFF:
            return at + more
    raise PhotoTooComplex(made_of="filling")


def _scans(data: bytes, at: int) -> tuple[int, int]:
    """Count the scans, and find where the picture ends; phones append films and second pictures behind it.

    Within a scan, 0xFF is followed by zero or by a restart mark; anything else begins the next segment.
    """
    scans = 0
    for _ in range(MAX_SEGMENTS):
        mark = data[at + 1]
        if mark == 0xD9:
            return scans, at
        scans += mark == 0xDA
        (length,) = struct.unpack_from(">H", data, at + 2)
        found = _MARK.search(data, at + 2 + max(2, length))
        if found is None:
            raise PhotoDamaged()
        at = found.start()
    raise PhotoTooComplex(made_of=f"more than {MAX_SEGMENTS} pieces")


def _chunks(data: bytes, at: int, end: int, layout: str, tail: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, start and length of every chunk; `layout` reads (length, name) or (name, length), `tail` follows."""
    for _ in range(MAX_SEGMENTS):
        if at + 8 > end:
            return
        first, second = struct.unpack_from(layout, data, at)
        name, length = (first, second) if isinstance(first, bytes) else (second, first)
        if at + 8 + length > end:
            raise PhotoDamaged()
        yield name, at + 8, length
        at += 8 + length + (length % 2 if tail == 0 else tail)
    raise PhotoTooComplex(made_of=f"more than {MAX_SEGMENTS} pieces")


def _png(data: bytes) -> Header:
    size: tuple[int, int] | None = None
    exif, ended, body = Exif(), False, 0
    for name, start, length in _chunks(data, 8, len(data), ">I4s", 4):
        if size is None:
            if name != b"IHDR" or length != 13:
                raise PhotoDamaged()
            size = struct.unpack_from(">II", data, start)
        elif name == b"eXIf":
            exif = read_exif(data[start : start + min(length, 65_536)])
        elif name == b"IDAT":
            body += length
        elif name == b"IEND":
            ended = True
            break
    if size is None or not ended:
        raise PhotoDamaged()
    return Header("PNG", *size, exif, body)


def essential(data: bytes) -> bytes:
    """Drop the chunks that a PNG's pixels do not need: a megabyte of comment packs into a kilobyte.

    Args:
        data: A PNG that `read_header` took.
    """
    kept = [data[:8]]
    for name, start, length in _chunks(data, 8, len(data), ">I4s", 4):
        if name in (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"):
            kept.append(data[start - 8 : start + length + 4])
        if name == b"IEND":
            break
    return b"".join(kept)


def _webp(data: bytes) -> Header:
    end = 8 + int(struct.unpack_from("<I", data, 4)[0])
    if end > len(data):
        raise PhotoDamaged()
    sizes: list[tuple[int, int]] = []
    exif, body = Exif(), 0
    for name, start, length in _chunks(data, 12, end, "<4sI", 0):
        body += length if name in (b"VP8 ", b"VP8L", b"ANMF", b"ALPH") else 0
        if name == b"VP8X":
            sizes.append((_three(data, start + 4) + 1, _three(data, start + 7) + 1))
        elif name == b"VP8 ":
            width, height = struct.unpack_from("<HH", data, start + 6)
            sizes.append((width & 0x3FFF, height & 0x3FFF))
        elif name == b"VP8L":
            (bits,) = struct.unpack_from("<I", data, start + 1)
            sizes.append(((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1))
        elif name == b"EXIF":
            exif = read_exif(data[start : start + min(length, 65_536)])
    if not sizes:
        raise PhotoDamaged()
    return Header("WEBP", *max(sizes, key=lambda s: s[0] * s[1]), exif, body)


def _three(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 3], "little")


def _heif(data: bytes) -> Header:
    """Read a HEIF header by the library, which looks at the boxes only until pixels are asked for."""
    import pi_heif

    try:
        found = pi_heif.open_heif(data)
        width, height = found.size
        exif = read_exif(found.info.get("exif") or b"")
    except Exception as error:  # a malformed box may raise anything
        raise PhotoDamaged() from error
    return Header("HEIF", int(width), int(height), Exif(None, exif.time, exif.offset), len(data))
