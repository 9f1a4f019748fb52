"""A folder of files named by their SHA-256: written once, never changed, on disk before anybody reads them.

All files and folders are private to their user whatever the umask says: folders 0o700, files 0o600, stored ones 0o400.

A file with hash "abcdef..." lies at "ab/cdef...". It is written to a temporary file first, synced, renamed, and the
folder synced, so that after a crash there is either the whole file or none (and perhaps a temporary left-over, which
`sweep` removes).
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path

from api.ledger.canonical import sha256_hex
from api.ledger.errors import FileNotStored, NotAFileHash, file_not_written

_HEX = re.compile(r"[0-9a-f]{64}")
_TMP = re.compile(r"\.tmp-(\d+)-[0-9a-f]+")

PRIVATE_FOLDER, PRIVATE_FILE, STORED_FILE = 0o700, 0o600, 0o400
"""Modes of what belongs to the data folder: for its user alone, stored files never to be written."""


def make_private(folder: Path) -> None:
    """Make a folder for its user alone, with its parents as the system makes them, unless it is there.

    Its name is made durable each time: who made it may have stopped before that was synced, and the name takes with it
    what lies within.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    try:
        if not folder.is_dir():
            folder.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
            folder.chmod(PRIVATE_FOLDER)  # the umask may have taken more away than from others
        with contextlib.suppress(PermissionError):  # a parent that we may not even read is not ours to sync
            sync_folder(folder.parent)
    except OSError as error:
        raise file_not_written(folder.name, error) from error


def tighten(path: Path, mode: int) -> bool:
    """Take from a file or folder what others may do with it; one that is not ours to change stays as it is.

    Returns:
        Whether it was open to others before.
    """
    try:
        found = path.lstat().st_mode
        if stat.S_ISLNK(found) or found & stat.S_ISVTX or not found & 0o077 & ~mode:
            return False  # a folder with the sticky bit is one that many users share
        path.chmod(mode)
    except OSError:
        return False
    return True


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    # fsync of a file does not cover its name in the folder: after a power cut its content could be there under none.
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_synced(path: Path, data: bytes, mode: int = PRIVATE_FILE) -> None:
    """Replace a file by new content, durably: temporary file, sync, rename, sync of the folder.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    # In the same folder, since a rename is atomic only within one file system; with the process id, so that `sweep`
    # spares the files of a writer that still runs.
    temporary = path.parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
    try:
        with open(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_FILE), "wb") as handle:  # noqa: PTH123
            handle.write(data)
            handle.flush()
            os.fchmod(handle.fileno(), mode)
            os.fsync(handle.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):  # it stays then, and a later start sweeps it; what went wrong first is told
            temporary.unlink(missing_ok=True)
        raise file_not_written(path.name, error) from error


def writer_lives(name: str) -> bool:
    """Tell whether the process that writes a temporary file still runs, by the file's name."""
    match = _TMP.fullmatch(name)
    return match is not None and _alive(int(match[1]))


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:  # it runs, as another user
        pass
    return True


def _is_regular(path: Path) -> bool:
    """Tell whether a plain file lies there: no folder, no link, nothing that would wait for a writer."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def read_plain(path: Path) -> bytes:
    """Read a file; what is no plain file (a pipe, a device, a socket, a link) is refused and never waited for.

    Raises:
        FileNotFoundError: Nothing is there.
        OSError: It cannot be read, or is no plain file.
    """
    if not stat.S_ISREG(path.lstat().st_mode):
        raise OSError(errno.EINVAL, "it is no plain file")
    with open(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW), "rb") as handle:  # noqa: PTH123
        return handle.read()


def _digest(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def set_aside(path: Path) -> None:
    """Move what lies in the place of a good file out of the way; `verify` reports it."""
    path.replace(path.with_name(f"{path.name}.damaged-{secrets.token_hex(4)}"))


def sweep_folder(folder: Path) -> int:
    """Remove the temporary left-overs in one folder of processes that no longer run; returns how many."""
    removed = 0
    for path in folder.glob(".tmp-*"):
        # A folder of such a name is none of ours; it is left for the verification to report.
        if _TMP.fullmatch(path.name) and not writer_lives(path.name) and _is_regular(path):
            path.unlink(missing_ok=True)
            removed += 1
    return removed


class Store:
    """Content-addressed files under one folder."""

    def __init__(self, root: Path) -> None:
        """Make the folder if it is missing."""
        self.root = root
        self._durable: set[str] = set()
        make_private(root)

    def path(self, sha256: str) -> Path:
        """Give the place where the file of this hash lies, or would lie.

        Raises:
            NotAFileHash: Not 64 lower-case hex digits.
        """
        if not _HEX.fullmatch(sha256):
            raise NotAFileHash(sha256=sha256)
        return self.root / sha256[:2] / sha256[2:]

    def put(self, data: bytes) -> str:
        """Keep some bytes; returns once they are durable. The same bytes are stored once.

        Returns:
            Their SHA-256.

        Raises:
            FileNotWritten: The disk is full or refuses; nothing was kept.
        """
        sha256 = sha256_hex(data)
        path = self.path(sha256)
        try:
            self._prepare(path.parent)
            if os.path.lexists(path):
                # Compared, and not trusted by its name: disk or person may have changed what lies there.
                if _is_regular(path) and path.read_bytes() == data:
                    sync_folder(path.parent)  # who stored it may have stopped between name and sync
                    return sha256
                set_aside(path)  # somebody damaged the stored file, or put something else in its place
        except OSError as error:
            raise file_not_written(path.name, error) from error
        # Read-only against accidents: whoever owns the file can undo it, and then `verify` finds the change.
        write_synced(path, data, STORED_FILE)
        return sha256

    def put_file(self, source: Path) -> str:
        """Keep a file of any size, copied a part at a time; returns its SHA-256 once it is durable.

        Raises:
            FileNotWritten: The disk is full or refuses, or the file changed while it was copied; nothing was kept.
            OSError: The file cannot be read.
        """
        with source.open("rb") as handle:
            sha256 = hashlib.file_digest(handle, "sha256").hexdigest()
        path = self.path(sha256)
        temporary = path.parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
        try:
            self._prepare(path.parent)
            if os.path.lexists(path):
                if _is_regular(path) and _digest(path) == sha256:
                    sync_folder(path.parent)
                    return sha256
                set_aside(path)
            with (
                source.open("rb") as original,
                open(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_FILE), "wb") as copy,  # noqa: PTH123
            ):
                shutil.copyfileobj(original, copy, 1 << 20)
                copy.flush()
                os.fchmod(copy.fileno(), STORED_FILE)
                os.fsync(copy.fileno())
            if _digest(temporary) != sha256:
                raise OSError(errno.EIO, "the file changed while it was copied")
            temporary.replace(path)
            sync_folder(path.parent)
        except OSError as error:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
            raise file_not_written(path.name, error) from error
        return sha256

    def _prepare(self, folder: Path) -> None:
        """Make a folder and its name durable: once a process, since the one before may have stopped in between."""
        if folder.name not in self._durable or not folder.is_dir():
            if os.path.lexists(folder) and not folder.is_dir():
                set_aside(folder)
            make_private(folder)
            self._durable.add(folder.name)

    def content(self, path: Path, most: int) -> bytes | None:
        """Read a file that `names` listed; None where it is no plain file or over `most` bytes.

        Raises:
            OSError: It cannot be read.
        """
        return read_plain(path) if _is_regular(path) and path.stat().st_size <= most else None

    def read(self, sha256: str) -> bytes:
        """Read the bytes of a file.

        Raises:
            FileNotStored: There is no such file, or something else lies in its place.
            OSError: It cannot be read.
        """
        path = self.path(sha256)
        if not _is_regular(path):
            raise FileNotStored(sha256=sha256)
        return read_plain(path)

    def names(self) -> Iterator[tuple[str, Path]]:
        """List every file in the folder: its hash as its place says ("" where the place is no hash), and its path."""
        for path in sorted(self.root.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                continue
            name = "".join(path.relative_to(self.root).parts)
            # The same digits divided otherwise ("abc/def...") spell a hash too, but are not where `path` leads.
            yield (name if _HEX.fullmatch(name) and path == self.path(name) else ""), path

    def sweep(self) -> int:
        """Remove temporary left-overs of processes that no longer run; returns how many."""
        return sum(sweep_folder(folder) for folder in self._folders())

    def _folders(self) -> Iterator[Path]:
        """List the folders that files of ours lie in; links lead elsewhere."""
        yield self.root
        yield from (path for path in self.root.iterdir() if path.is_dir() and not path.is_symlink())
