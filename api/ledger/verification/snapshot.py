"""The state that a verification looks at: head file and database at one moment, whoever writes meanwhile.

Nothing of the folder is written. Where SQLite cannot read a database without writing beside it (a medium or folder that
may not be written to), it is read as unchangeable if no log lies there, else from a copy with its log.
"""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from api.ledger.canonical import CanonicalError
from api.ledger.store import read_plain
from api.ledger.trail import FIRST_PREV, Head, HeadFile, head_file_of

LOCK_TIMEOUT_S = 20.0
"""How long to look for a moment in which head file and database belong together, s."""

_POLL_S = 0.001
_COPIES = 5
_MAY_NOT_WRITE = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}


@dataclass(frozen=True)
class Moment:
    """Head file and database as they stood together.

    Attributes:
        connection: In a reading transaction.
        head_file: What the head file said; the error where it is damaged.
        head_bytes: Its content; None where it is missing.
    """

    connection: sqlite3.Connection
    head_file: HeadFile | CanonicalError
    head_bytes: bytes | None


@contextmanager
def moment_of(folder: Path) -> Iterator[Moment]:
    """Open one moment of a data folder.

    Raises:
        sqlite3.Error: The database cannot be opened or is none.
        OSError: The system does not give head file or database.
    """
    end = time.monotonic() + LOCK_TIMEOUT_S
    while True:
        with ExitStack() as stack:
            with _no_writer_at_work(folder / "write.lock") as alone:
                head_bytes = _bytes_of(folder / "trail-head.json")
                connection = _connect(folder / "ohmtrail.db", stack)
            moment = Moment(connection, _head_file(head_bytes), head_bytes)
            # Beside a writer, a head that names the last entry is just as well the one that belongs to it.
            if alone or _belong_together(moment) or time.monotonic() > end:
                yield moment
                return
        time.sleep(_POLL_S)


@contextmanager
def _no_writer_at_work(lock: Path) -> Iterator[bool]:
    """Hold writers off for a moment if none is at work, so that commit and head file belong together.

    A lock file that is missing or may not be read means that no writer of this user is at work.
    """
    try:
        handle = os.open(lock, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        yield True
        return
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
            alone = True
        except OSError as error:
            alone = error.errno != errno.EWOULDBLOCK  # some file systems have no locks
        yield alone
    finally:
        os.close(handle)


def _belong_together(moment: Moment) -> bool:
    if isinstance(moment.head_file, CanonicalError):
        return False
    try:
        last = moment.connection.execute("SELECT hash FROM trail_entry ORDER BY seq DESC LIMIT 1").fetchone()
    except sqlite3.Error:
        return True  # the steps of the verification say more
    head = moment.head_file.head or Head()
    return head.hash == (FIRST_PREV if last is None else last[0])


def _bytes_of(path: Path) -> bytes | None:
    try:
        return read_plain(path)
    except FileNotFoundError:
        return None


def _head_file(data: bytes | None) -> HeadFile | CanonicalError:
    try:
        return HeadFile(None) if data is None else head_file_of(data)
    except CanonicalError as error:
        return error


def _connect(path: Path, stack: ExitStack) -> sqlite3.Connection:
    uri = path.resolve().as_uri()
    try:
        return _begun(f"{uri}?mode=ro", stack)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF not in _MAY_NOT_WRITE:
            raise
    if not _size(_log(path)):
        return _begun(f"{uri}?immutable=1", stack)
    scratch = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="ohmtrail-")))
    return _begun(f"{_copied(path, scratch).as_uri()}?mode=rw", stack)


def _begun(uri: str, stack: ExitStack) -> sqlite3.Connection:
    """Open a database and hold its present state: reading the schema is what begins the snapshot."""
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("BEGIN")
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error:
        connection.close()
        raise
    stack.callback(connection.close)
    return connection


def _log(path: Path) -> Path:
    return path.with_name(f"{path.name}-wal")


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def _copied(path: Path, scratch: Path) -> Path:
    """Copy a database with its log, again where either changed meanwhile.

    Raises:
        OSError: It cannot be read, or never stood still.
    """

    def stamps() -> list[tuple[int, int]]:
        return [(found.st_mtime_ns, found.st_size) for found in (path.stat(), _log(path).stat())]

    for _ in range(_COPIES):
        before = stamps()
        for source in (path, _log(path)):
            shutil.copyfile(source, scratch / source.name)
        if stamps() == before:
            return scratch / path.name
    raise OSError(f"{path.name} changes too fast to be copied")
