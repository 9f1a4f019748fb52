"""When a file was recorded or taken: by its own data first, by its name as the last resort."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from api.day.errors import BadZone
from api.ledger.clock import FIRST_YEAR

_NAMED = re.compile(
    r"(?<!\d)(20\d\d)[-_. ]?(\d\d)[-_. ]?(\d\d)[-_. T]{0,3}(\d\d)[-_.:h ]?(\d\d)(?:[-_.:m ]?(\d\d))?(?!\d)"
)
_TAGS = ("creation_time", "date", "creation_date", "timecode_date")
_OFFSET = re.compile(r"[+-]\d\d:\d\d")


@dataclass(frozen=True)
class MadeAt:
    """When a file says that it was made.

    Attributes:
        instant: With time zone; of a recording its beginning.
        source: What says so: "container", "EXIF", "EXIF, zone given", "name".
    """

    instant: dt.datetime
    source: str


def zone_of(given: str | None) -> dt.tzinfo | None:
    """Give a time zone by its name or offset; None for this machine's own.

    Raises:
        BadZone: There is no such zone.
    """
    if not given:
        return None
    if _OFFSET.fullmatch(given):
        sign = -1 if given[0] == "-" else 1
        return dt.timezone(sign * dt.timedelta(hours=int(given[1:3]), minutes=int(given[4:])))
    try:
        return ZoneInfo(given)
    except (KeyError, ValueError, OSError):
        raise BadZone(given=given) from None


def placed(local: dt.datetime, zone: dt.tzinfo | None) -> dt.datetime:
    """Put a time without zone into a zone; None for this machine's own at that date."""
    return local.astimezone() if zone is None else local.replace(tzinfo=zone)


def photo_time(header: Mapping[str, object], name: str, zone: dt.tzinfo | None) -> MadeAt | None:
    """Tell when a photo was taken.

    Args:
        header: What its header says (`api.ledger.media_types.metadata`).
        name: The file's name.
        zone: Of times that say none; None for this machine's own.
    """
    taken, offset = header.get("exif_time"), header.get("exif_offset")
    try:
        local = dt.datetime.strptime(str(taken), "%Y:%m:%d %H:%M:%S") if taken else None
    except ValueError:
        local = None
    if local is None or local.year < FIRST_YEAR:
        return named_time(name, zone)
    if isinstance(offset, str) and _OFFSET.fullmatch(offset):
        return MadeAt(placed(local, zone_of(offset)), "EXIF")
    return MadeAt(placed(local, zone), "EXIF, zone given")


def memo_time(tags: Mapping[str, str], name: str, zone: dt.tzinfo | None) -> MadeAt | None:
    """Tell when a recording began.

    Args:
        tags: The container's own tags.
        name: The file's name.
        zone: Of times that say none; None for this machine's own.
    """
    lower = {key.lower(): value for key, value in tags.items()}
    for tag in _TAGS:
        try:
            told = dt.datetime.fromisoformat(lower.get(tag, "").strip())
        except ValueError:
            continue
        # A date alone says nothing of the hour, and a clock that was never set begins in 1904 or 1970.
        if told.year < FIRST_YEAR or len(lower[tag].strip()) <= 10:
            continue
        return MadeAt(told if told.tzinfo else placed(told, zone), "container")
    return named_time(name, zone)


def named_time(name: str, zone: dt.tzinfo | None) -> MadeAt | None:
    """Find a date with a time of day in a file's name; None where there is none.

    >>> named_time("REC_20261125-140500.m4a", dt.UTC).instant.isoformat()
    '2026-11-25T14:05:00+00:00'
    """
    match = _NAMED.search(Path(name).name)
    if match is None:
        return None
    try:
        year, month, day, hour, minute, second = (int(part or 0) for part in match.groups())
        return MadeAt(placed(dt.datetime(year, month, day, hour, minute, second), zone), "name")
    except ValueError:
        return None
