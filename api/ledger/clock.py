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


FIRST_YEAR = 2000
"""Captures from before this year come from a clock that was never set (no phone had a meter app then)."""

MOST_AHEAD_S = 24 * 3600
"""How far a capture may lie after its arrival, s: no time zone set wrongly explains more than a day."""

MOST_APART_S = 365 * 24 * 3600
"""How far a capture may lie before its arrival, s: old readings are typed in with their own dates, a year is rare."""

CLOCK_STEP_S = 1.0
"""How far the clock may step back unremarked, s: what keeping time by the network may do."""


def capture_remark(captured_at: str, arrived_at: str) -> str:
    """Say why a capture time can hardly be right; empty where it can.

    Args:
        captured_at: The capturing device's time, as sent.
        arrived_at: When it came in, by this machine's clock.
    """
    try:
        year, apart = parse_instant(captured_at).year, seconds_between(captured_at, arrived_at)
    except (BadTime, OverflowError):
        return f"The capture time {captured_at} cannot be read."
    if year < FIRST_YEAR:
        why = f"before the year {FIRST_YEAR}"
    elif apart < -MOST_AHEAD_S:
        why = "more than a day after its arrival"
    elif apart > MOST_APART_S:
        why = "more than a year before its arrival"
    else:
        return ""
    return f"The capture time {captured_at} lies {why}; a clock was wrong, or the reading is an old one."


def was_set_back(before: str, now: str) -> bool:
    """Tell whether the clock that stamped `before` now says an earlier time."""
    try:
        return now < before and seconds_between(now, before) > CLOCK_STEP_S
    except BadTime:
        return False
