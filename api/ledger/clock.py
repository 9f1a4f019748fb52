"""Instants as text: ISO 8601, UTC for our own stamps, the device's own offset kept for captures."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from api.ledger.errors import BadTime

Clock = Callable[[], dt.datetime]
"""Gives the present instant with time zone; tests and the demo bring their own."""


def system_clock() -> dt.datetime:
    """Give the present instant, UTC."""
    return dt.datetime.now(dt.UTC)


def utc_text(instant: dt.datetime) -> str:
    """Write an instant as "2026-11-25T19:05:00.000000Z" (always this width, so that text order is time order)."""
    return instant.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def parse_instant(text: str) -> dt.datetime:
    """Read an ISO 8601 instant with offset.

    Args:
        text: E.g. "2026-11-25T14:05:00-05:00" or "...Z".

    Raises:
        BadTime: Not ISO 8601, or without an offset.
    """
    try:
        instant = dt.datetime.fromisoformat(text)
    except ValueError:
        instant = None
    # Without an offset the times of two devices could not be compared.
    if instant is None or instant.tzinfo is None:
        raise BadTime(text=text)
    return instant


def captured_text(captured_at: str | None, now: dt.datetime) -> str:
    """Give the capture time to keep: as sent once it is checked, else the present instant in UTC."""
    if captured_at is None:
        return utc_text(now)
    parse_instant(captured_at)
    return captured_at  # as sent: the trail keeps what came, with the offset of the place


def seconds_between(first: str, second: str) -> float:
    """Count the seconds from one instant to another, both as text with offset; negative where the second is earlier."""
    return (parse_instant(second) - parse_instant(first)).total_seconds()
