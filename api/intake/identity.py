"""What recognised a clip or photo: the program's version and the hash of the models it used, for the trail."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Protocol, runtime_checkable

from api.ledger.canonical import JsonObject


@runtime_checkable
class IdentifiedEngines(Protocol):
    """Engines that can say what they are; stand-ins of tests need not."""

    def model_folder(self, *, photo: bool) -> Path:
        """Give the folder of the models that see, or that hear."""
        ...


@cache
def folder_hash(folder: Path) -> str:
    """Hash a folder as `find . -type f | LC_ALL=C sort | xargs sha256sum | sha256sum` does; "" where there is none."""
    if not folder.is_dir():
        return ""
    names = sorted(f"./{path.relative_to(folder).as_posix()}" for path in folder.rglob("*") if path.is_file())
    lines = [f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n" for name in names]
    return hashlib.sha256("".join(lines).encode()).hexdigest()


def recogniser_of(engines: object, *, photo: bool) -> JsonObject:
    """Say what recognises; empty for engines that cannot tell."""
    if not isinstance(engines, IdentifiedEngines):
        return {}
    folder = engines.model_folder(photo=photo)
    return {"program": f"ohmtrail {version('ohmtrail')}", "model": folder.name, "model_sha256": folder_hash(folder)}
