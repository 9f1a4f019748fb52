"""How far the making of a report has come, for whoever waits."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int], None]
"""Is told what is being done, how much of it is done, and how much there is (0 where that is not known)."""


def quiet(what: str, done: int, whole: int) -> None:
    """Tell nobody."""
