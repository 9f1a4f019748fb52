"""What every report must say, in words."""

from __future__ import annotations

from collections.abc import Callable

from grading.notices import Notice, NoticeKind
from grading.prose.wording import need

DECISION_RULE = (
    "a value is called acceptable or unacceptable only where all of it, with its uncertainty, lies on one side of the "
    "limit; inside the guard band w = U (k = 2) just above a limit it is called marginal (ILAC-G8:09/2019, 4.2)."
)
SCOPE = "Results relate only to the items tested, at the time and position of the test."


def _loosened(notice: Notice) -> str:
    limit = need(notice.limit)
    return (
        f"The limit on {limit.quantity} ({limit.condition}) was loosened from {limit.loosened_from:f} to "
        f"{limit.value:f} {limit.unit} by {limit.decided_by}: {limit.reason}. The published source is {limit.document}."
    )


def _profile(notice: Notice) -> str:
    (sha256,) = notice.names
    return f"Limits: a shop profile was in force, SHA-256 {sha256} of its content as canonical JSON."


def _late(notice: Notice) -> str:
    return f"Instrument {', '.join(notice.names)} was out of calibration on the day of the test."


def _unknown(notice: Notice) -> str:
    return f"Nothing is on record about axis {', '.join(notice.names)}: judged as an a.c. servo of unknown rating."


_WRITERS: dict[NoticeKind, Callable[[Notice], str]] = {
    NoticeKind.SHOP_PROFILE: _profile,
    NoticeKind.LIMIT_LOOSENED: _loosened,
    NoticeKind.OUT_OF_CALIBRATION: _late,
    NoticeKind.NO_CALIBRATION_DATE: lambda notice: f"No calibration date is on record for: {', '.join(notice.names)}.",
    NoticeKind.DECISION_RULE: lambda _: f"Decision rule: {DECISION_RULE}",
    NoticeKind.SCOPE: lambda _: SCOPE,
    NoticeKind.UNKNOWN_AXES: _unknown,
}


def notice_text(notice: Notice) -> str:
    """Write what must be said."""
    return _WRITERS[notice.kind](notice)
