"""The files of a day: found in a folder, looked at, stored as evidence once; each that is not taken is named.

Nothing here decodes a recording: its header is read in a process of its own (`api.day.decoder`).
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlmodel import select

from api.day.errors import (
    DayFileEmpty,
    DayFileProblem,
    DayFileTooLarge,
    DayFileUnknown,
    DayFileUnreadable,
    NoSuchDayFolder,
    NotPlainFile,
)
from api.ledger.canonical import JsonObject
from api.ledger.database import Database
from api.ledger.evidence import MAX_BYTES, Stored, put_evidence
from api.ledger.media_types import MediaType, media_type, metadata
from api.ledger.store import Store
from api.ledger.tables import CaptureRow
from api.ledger.trail import What

MOST_MEMO_BYTES = 4_000_000_000
"""Largest recording, bytes: eight hours of uncompressed stereo."""

_HEAD = 64
_LEFT_OUT = frozenset({"thumbs.db", "desktop.ini", ".ds_store"})
MEMO = "memo"
"""Kind of evidence of a recording of any length, from which clips are cut; a "clip" is one utterance."""


@dataclass(frozen=True)
class DayFile:
    """A file of the day that is on disk as evidence.

    Attributes:
        path: Where it was found.
        sha256: Its content.
        found: What it is.
        size: Bytes.
        metadata: What its header says; of a photo only.
        before: Captures that took the same content in before; empty for a new file.
    """

    path: Path
    sha256: str
    found: MediaType
    size: int
    metadata: JsonObject
    before: tuple[str, ...] = ()

    @property
    def is_photo(self) -> bool:
        """Whether it is a photo; a recording otherwise."""
        return self.found.kind == "photo"


@dataclass(frozen=True)
class Untaken:
    """A file, or a part of one, that was not taken, with the reason and what to do."""

    path: Path
    problem: DayFileProblem


def files_in(folder: Path) -> Iterator[Path]:
    """List every file of a folder and of those in it, hidden ones left out; links are listed, never followed.

    Raises:
        NoSuchDayFolder: It is not there.
    """
    if not folder.is_dir():
        raise NoSuchDayFolder(folder=folder)
    for place, folders, names in os.walk(folder, followlinks=False):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if not name.startswith(".") and name.lower() not in _LEFT_OUT:
                yield Path(place) / name


def look_at(path: Path) -> MediaType:
    """Tell what a file is, without waiting for a pipe or opening a device.

    Raises:
        DayFileProblem: It is nothing that can be taken.
    """
    try:
        told = path.lstat()
        if not stat.S_ISREG(told.st_mode):
            raise NotPlainFile()
        if not told.st_size:
            raise DayFileEmpty()
        with path.open("rb") as handle:
            found = media_type(handle.read(_HEAD))
    except OSError as error:
        raise DayFileUnreadable(cause=error.strerror or str(error)) from None
    if found.kind == "other":
        raise DayFileUnknown()
    most = MAX_BYTES["photo"] if found.kind == "photo" else MOST_MEMO_BYTES
    if told.st_size > most:
        raise DayFileTooLarge(megabytes=told.st_size / 1e6, most=most / 1e6)
    return found


def store_day(
    database: Database, store: Store, paths: list[Path], told: Callable[[Path], None] = lambda _: None
) -> tuple[list[DayFile], list[Untaken], list[tuple[Path, str]]]:
    """Put files on disk as evidence, each content once, with their rows and entries of the trail.

    Args:
        database: Rows and trail.
        store: Evidence.
        paths: The files.
        told: Called with each file before it is copied.

    Returns:
        What is stored, in the order of content hashes; what was not taken; files with the content of another one.
    """
    files: dict[str, DayFile] = {}
    untaken, doubles = [], []
    for path in paths:
        told(path)
        try:
            found = look_at(path)
            sha256 = store.put_file(path)
            size = store.path(sha256).stat().st_size
            header = metadata(store.read(sha256), found) if found.kind == "photo" else {}
        except DayFileProblem as problem:
            untaken.append(Untaken(path, problem))
            continue
        except OSError as error:
            untaken.append(Untaken(path, DayFileUnreadable(cause=error.strerror or str(error))))
            continue
        if sha256 in files:
            first, second = sorted((files[sha256].path, path))
            files[sha256] = DayFile(first, sha256, found, size, header)
            doubles.append((second, first.name))
            continue
        files[sha256] = DayFile(path, sha256, found, size, header)
    put_rows(database, list(files.values()))
    known = _known(database, list(files))
    whole = [
        DayFile(one.path, one.sha256, one.found, one.size, one.metadata, known.get(one.sha256, ()))
        for one in sorted(files.values(), key=lambda one: one.sha256)
    ]
    return whole, untaken, doubles


def put_rows(database: Database, files: list[DayFile]) -> None:
    """Write the rows of stored files that have none yet, in one transaction."""
    with database.write() as transaction:
        for one in sorted(files, key=lambda one: one.sha256):
            kind = "" if one.is_photo else MEMO
            stored = Stored(one.sha256, one.found, one.size, one.metadata)
            if put_evidence(transaction, stored, kind=kind):
                note = {"sha256": one.sha256, "file": one.path.name}
                transaction.entry(What.EVIDENCE_STORED, note=note)


def _known(database: Database, hashes: list[str]) -> dict[str, tuple[str, ...]]:
    """Give the captures in which files came in before."""
    found: dict[str, tuple[str, ...]] = {}
    with database.read() as session:
        for sha256 in hashes:
            rows = session.exec(select(CaptureRow.id).where(CaptureRow.sha256 == sha256)).all()
            if rows:
                found[sha256] = tuple(sorted(rows))
    return found
