"""What every report must say beside its findings, as codes (`grading.prose.notices` writes them)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from grading.limit import Limit


class NoticeKind(StrEnum):
    """What must be said."""

    SHOP_PROFILE = "shop_profile"  # a shop profile was in force; the name is the hash of its content
    LIMIT_LOOSENED = "limit_loosened"
    OUT_OF_CALIBRATION = "out_of_calibration"
    NO_CALIBRATION_DATE = "no_calibration_date"
    DECISION_RULE = "decision_rule"
    SCOPE = "scope"
    UNKNOWN_AXES = "unknown_axes"


@dataclass(frozen=True)
class Notice:
    """One thing that every report must say.

    Attributes:
        kind: What.
        names: Instruments, axes or a hash that it speaks of.
        limit: The limit that was loosened, or None.
    """

    kind: NoticeKind
    names: tuple[str, ...] = ()
    limit: Limit | None = None
