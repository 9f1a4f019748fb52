"""Opening a data folder: never empty beside what was recorded before, never into a database that is not ours.

And what belongs to it private to its user: a folder made by an older version, or under a lax umask, is tightened here.
"""

from __future__ import annotations

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

from api.ledger.canonical import CanonicalError
from api.ledger.errors import (
    NO_SPACE,
    DatabaseEmpty,
    DatabaseForeign,
    DatabaseMissing,
    EntryHasNoSpace,
    EntryNotWritten,
    file_not_written,
)
from api.ledger.signing import KEY_FILE
from api.ledger.store import PRIVATE_FILE, PRIVATE_FOLDER, STORED_FILE, tighten
from api.ledger.trail import Head, read_head

_MAGIC = b"SQLite format 3\0"  # the first 16 bytes of every database: "Database File Format", 1.3
_PROBE = 64 * 1024


def earlier_work(folder: Path) -> str:
    """Name what of earlier work lies in a folder beside the database; empty where there is nothing."""
    if any(path.is_file() for path in (folder / "evidence").glob("*/*")):
        return "evidence"
    try:
        head = read_head(folder / "trail-head.json")
    except CanonicalError:
        return "a trail head"
    return "" if head is None or head == Head() else "a trail head"


def refuse_to_begin_anew(folder: Path) -> None:
    """Refuse a folder whose database is missing or empty beside earlier work, or is none of ours.

    Nothing is written, since even setting SQLite's journal mode would change a stranger's file.

    Raises:
        DatabaseMissing: There is none, but evidence or a trail head.
        DatabaseEmpty: It holds nothing, but there is evidence or a trail head.
        DatabaseForeign: It is no database, or one of another program.
    """
    path = folder / "ohmtrail.db"
    try:
        with path.open("rb") as handle:
            begin = handle.read(len(_MAGIC))
    except FileNotFoundError:
        beside = earlier_work(folder)
        if beside:
            raise DatabaseMissing(folder=str(folder), beside=beside) from None
        return
    if begin and begin != _MAGIC:
        raise DatabaseForeign(folder=str(folder), cause="it is no SQLite database")
    tables = _tables(path) if begin else set()
    if tables is None:
        return  # it cannot be read without being written to; the opening itself will say more
    if not tables:
        beside = earlier_work(folder)
        if beside:
            raise DatabaseEmpty(folder=str(folder), beside=beside)
    elif "trail_entry" not in tables:
        raise DatabaseForeign(folder=str(folder), cause="its tables are those of another program")


def _tables(path: Path) -> set[str] | None:
    try:
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
        try:
            return {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        finally:
            connection.close()
    except sqlite3.DatabaseError:
        return None


def make_private_file(path: Path) -> None:
    """Make a file for its user alone, unless it is there; what SQLite puts beside its database takes its mode.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    if path.exists():
        return
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT, PRIVATE_FILE)
        try:
            os.fchmod(handle, PRIVATE_FILE)
        finally:
            os.close(handle)
    except OSError as error:
        raise file_not_written(path.name, error) from error


def _own_files(folder: Path) -> Iterator[Path]:
    names = (
        "ohmtrail.db",
        "ohmtrail.db-wal",
        "ohmtrail.db-shm",
        "trail-head.json",
        "write.lock",
        "owner.lock",
        KEY_FILE,
    )
    yield from (folder / name for name in names)
    for end in ("html", "pdf", "txt", "csv"):
        yield from folder.glob(f"report-*.{end}")


def tighten_folder(folder: Path) -> None:
    """Make a data folder private to its user; stored files are looked at only where their folder was open to others."""
    tighten(folder, PRIVATE_FOLDER)
    for path in _own_files(folder):
        tighten(path, PRIVATE_FILE)
    for root in (folder / "evidence", folder / "reports"):
        if tighten(root, PRIVATE_FOLDER):
            for path in root.rglob("*"):
                tighten(path, PRIVATE_FOLDER if path.is_dir() else STORED_FILE)


def entry_not_written(folder: Path, cause: BaseException | None) -> EntryNotWritten:
    """Give the error for a transaction that did not come about: only where space is missing it says so.

    SQLite tells a full disk (`SQLITE_FULL`), but a used-up quota only as an error of writing, without the system's
    number; so a little file is tried.
    """
    code = getattr(cause, "sqlite_errorcode", 0) & 0xFF
    full = code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and _has_no_space(folder))
    return (EntryHasNoSpace if full else EntryNotWritten)(cause=str(cause))


def _has_no_space(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder) as handle:
            handle.write(bytes(_PROBE))
    except OSError as error:
        return error.errno in NO_SPACE
    return False
