"""Files of others' models, each pinned by its hash."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from pathlib import Path


def find_pinned(
    folder: Path,
    hashes: Mapping[str, str],
    *,
    missing: Callable[[Path], Exception],
    unknown: Callable[[Path], Exception],
) -> dict[str, Path]:
    """Give files by name, once each is known to be there and to be the one pinned.

    Args:
        folder: Where they lie.
        hashes: SHA-256 of each, lower-case hex, by name.
        missing: Makes the error for one that is not there.
        unknown: Makes the error for one that is another.

    Raises:
        Exception: The one that `missing` or `unknown` makes.
    """
    found = {name: folder / name for name in hashes}
    for name, path in found.items():
        if not path.is_file():
            raise missing(path)
        if hashlib.sha256(path.read_bytes()).hexdigest() != hashes[name]:
            raise unknown(path)
    return found
