"""By which rules findings are computed: the program's version and a fingerprint of all that they depend on.

The version alone would not do, since rules change between two versions. The fingerprint is over the source text of
grading, assessment and visit, so that any change there, even of a comment, makes other rules: findings are then said to
be computed by other rules, where a version alone could make honest ones look forged.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import api.assessment
import api.visit
import grading

_PACKAGES = (grading, api.assessment, api.visit)
_DIGITS = 16


@cache
def rules_in_force() -> str:
    """Name the rules of this program: version and first digits of the SHA-256 over its sources, "0.2.0+1a2b…"."""
    digest = hashlib.sha256()
    for package in _PACKAGES:
        root = Path(package.__path__[0])
        for path in sorted(path for path in root.rglob("*") if path.is_file() and "__pycache__" not in path.parts):
            digest.update(f"{package.__name__}/{path.relative_to(root).as_posix()}\n".encode())
            digest.update(hashlib.sha256(path.read_bytes()).digest())
    try:
        released = version("ohmtrail")
    except PackageNotFoundError:
        released = "unreleased"
    return f"{released}+{digest.hexdigest()[:_DIGITS]}"
