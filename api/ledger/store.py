"""A folder of files named by their SHA-256: written once, never changed, on disk before anybody reads them.

A file with hash "abcdef..." lies at "ab/cdef...". It is written to a temporary file first, synced, renamed, and the
folder synced, so that after a crash there is either the whole file or none (and perhaps a temporary left-over, which
`sweep` removes).
"""

from __future__ import annotations

import os
import re
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path

from api.ledger.canonical import sha256_hex
from api.ledger.errors import FileNotStored, FileNotWritten, NotAFileHash

_HEX = re.compile(r"[0-9a-f]{64}")
_TMP = re.compile(r"\.tmp-(\d+)-[0-9a-f]+")


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_synced(path: Path, data: bytes) -> None:
    """Replace a file by new content, durably: temporary file, sync, rename, sync of the folder.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    temporary = path.parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
    try:
        with temporary.open("xb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise FileNotWritten(file=path.name, cause=error.strerror) from error


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        pass
    return True


def _is_regular(path: Path) -> bool:
    """Tell whether a plain file lies there: no folder, no link, nothing that would wait for a writer."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def _set_aside(path: Path) -> None:
    """Move what lies in the place of a good file out of the way; `verify` reports it."""
    path.replace(path.with_name(f"{path.name}.damaged-{secrets.token_hex(4)}"))


def sweep_folder(folder: Path) -> int:
    """Remove the temporary left-overs in one folder of processes that no longer run; returns how many."""
    removed = 0
    for path in folder.glob(".tmp-*"):
        match = _TMP.fullmatch(path.name)
        # A folder of such a name is none of ours; it is left for the verification to report.
        if match and not _alive(int(match[1])) and _is_regular(path):
            path.unlink(missing_ok=True)
            removed += 1
    return removed


class Store:
    """Content-addressed files under one folder."""

    def __init__(self, root: Path) -> None:
        """Make the folder if it is missing."""
        self.root = root
        root.mkdir(parents=True, exist_ok=True)

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
            if os.path.lexists(path):
                if _is_regular(path) and path.read_bytes() == data:
                    return sha256
                _set_aside(path)  # somebody damaged the stored file, or put something else in its place
            if not path.parent.is_dir():
                if os.path.lexists(path.parent):
                    _set_aside(path.parent)
                path.parent.mkdir(exist_ok=True)
                sync_folder(self.root)
            write_synced(path, data)
            path.chmod(0o444)
        except OSError as error:
            raise FileNotWritten(file=path.name, cause=error.strerror) from error
        return sha256

    def content(self, path: Path, most: int) -> bytes | None:
        """Read a file that `names` listed; None where it is no plain file or over `most` bytes.

        Raises:
            OSError: It cannot be read.
        """
        return path.read_bytes() if _is_regular(path) and path.stat().st_size <= most else None

    def read(self, sha256: str) -> bytes:
        """Read the bytes of a file.

        Raises:
            FileNotStored: There is no such file.
        """
        try:
            return self.path(sha256).read_bytes()
        except FileNotFoundError:
            raise FileNotStored(sha256=sha256) from None

    def names(self) -> Iterator[tuple[str, Path]]:
        """List every file in the folder: its hash as its place says ("" where the place is no hash), and its path."""
        for path in sorted(self.root.rglob("*")):
            if path.is_dir() and not path.is_symlink():
                continue
            name = "".join(path.relative_to(self.root).parts)
            yield (name if _HEX.fullmatch(name) and path == self.path(name) else ""), path

    def sweep(self) -> int:
        """Remove temporary left-overs of processes that no longer run; returns how many."""
        return sum(sweep_folder(folder) for folder in self._folders())

    def _folders(self) -> Iterator[Path]:
        """List the folders that files of ours lie in; links lead elsewhere."""
        yield self.root
        yield from (path for path in self.root.iterdir() if path.is_dir() and not path.is_symlink())
