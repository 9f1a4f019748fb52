"""Three EXIF entries of a photo: orientation, time taken, offset of that time. Everything else is left unread.

A hostile EXIF block may claim thousands of entries of many megabytes each. Here a closed number of entries is looked
at, nothing is copied but those three, and whatever is malformed counts as missing: it must not cost the photo.
The layout is that of TIFF 6.0 as EXIF uses it: header, then directories of 12-byte entries.
"""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass
from datetime import datetime

ORIENTATION, TIME, DETAILS, TIME_TAKEN, OFFSET_TAKEN = 0x0112, 0x0132, 0x8769, 0x9003, 0x9011
_SHORT, _ASCII, _LONG = 3, 2, 4
MAX_ENTRIES = 500
"""Entries looked at in one directory; cameras write fewer than a hundred."""


@dataclass(frozen=True)
class Exif:
    """What a photo says of itself.

    Attributes:
        orientation: 1..8; None where missing or nonsense.
        time: When it was taken, as written ("2026:11:25 14:05:00"), or None.
        offset: Offset of that time from UTC ("-05:00"), or None.
    """

    orientation: int | None = None
    time: str | None = None
    offset: str | None = None

    @property
    def taken(self) -> datetime | None:
        """The time as a datetime without zone; None for anything that is no time."""
        if self.time is None or not re.fullmatch(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d", self.time):
            return None
        try:
            return datetime.strptime(self.time, "%Y:%m:%d %H:%M:%S")
        except ValueError:
            return None


def read_exif(block: bytes) -> Exif:
    """Read an EXIF block (with or without the leading "Exif" mark); never raises."""
    block = block.removeprefix(b"Exif\0\0")
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None or len(block) < 8:
        return Exif()
    main = _entries(block, struct.unpack_from(order + "I", block, 4)[0], order)
    inner = main.get(DETAILS)
    details = _entries(block, inner, order) if isinstance(inner, int) else {}
    turned = main.get(ORIENTATION)
    return Exif(
        turned if isinstance(turned, int) and 1 <= turned <= 8 else None,
        _text(details.get(TIME_TAKEN)) or _text(main.get(TIME)),
        _text(details.get(OFFSET_TAKEN)),
    )


def _text(value: int | str | None) -> str | None:
    return value if isinstance(value, str) and value else None


def _entries(block: bytes, at: int, order: str) -> dict[int, int | str]:
    """Read the wanted entries of the directory at an offset; numbers as int, text as str."""
    found: dict[int, int | str] = {}
    if at + 2 > len(block):
        return found
    (count,) = struct.unpack_from(order + "H", block, at)
    for index in range(min(count, MAX_ENTRIES)):
        start = at + 2 + 12 * index
        if start + 12 > len(block):
            break
        tag, kind, number = struct.unpack_from(order + "HHI", block, start)
        if tag in (ORIENTATION, DETAILS) and number == 1 and kind in (_SHORT, _LONG):
            found[tag] = struct.unpack_from(order + ("H" if kind == _SHORT else "I"), block, start + 8)[0]
        elif tag in (TIME, TIME_TAKEN, OFFSET_TAKEN) and kind == _ASCII and 0 < number <= 64:
            (place,) = struct.unpack_from(order + "I", block, start + 8)
            raw = block[place : place + number] if number > 4 else block[start + 8 : start + 8 + number]
            found[tag] = raw.split(b"\0")[0].decode("ascii", "replace").strip()
    return found
