"""Gives memory back to the system that earlier photos left free inside the process."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from functools import lru_cache


@lru_cache(maxsize=1)
def _trim() -> Callable[[int], int] | None:
    """Find glibc's `malloc_trim`; None where the C library has none."""
    try:
        found = ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError, TypeError):  # another C library, or another system
        return None
    found.argtypes, found.restype = [ctypes.c_size_t], ctypes.c_int
    return found


def give_back() -> bool:
    """Give what is free but kept back to the system: after a large photo some 20 MiB; it takes a millisecond.

    The C library keeps what the levels of a photo and the networks' working memory leave free between what is still in
    use, and would take room anew for the next large picture.

    Returns:
        Whether the C library can do it at all.
    """
    trim = _trim()
    if trim is None:
        return False
    trim(0)
    return True
