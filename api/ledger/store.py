"""A folder of files named by their SHA-256: written once, never changed, on disk before anybody reads them.

A file with hash "abcdef..." lies at "ab/cdef...". It is written to a temporary file first, synced, renamed, and the
folder synced, so that after a crash there is either the whole file or none (and perhaps a temporary left-over, which
`sweep` removes).
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path

from api.ledger.canonical import sha256_hex
from api.ledger.errors import FileNotStored, FileNotWritten, NotAFileHash

_HEX = re.compile(r"[0-9a-f]{64}")
_TMP = re.compile(r"\.tmp-(\d+)-[0-9a-f]+")


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    # fsync of a file does not cover its name in the folder: after a power cut its content could be there under none.
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder, unless it is there, and its name durable.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # Each time: who made it may have stopped before its name was synced; with the name all within it would be lost.
        sync_folder(folder.parent)
    except OSError as error:
        raise FileNotWritten(file=folder.name, cause=error.strerror) from error


def write_synced(path: Path, data: bytes) -> None:
    """Replace a file by new content, durably: temporary file, sync, rename, sync of the folder.

    Raises:
        FileNotWritten: The disk is full or refuses.
    """
    # In the same folder, since a rename is atomic only within one file system; with the process id, so that `sweep`
    # spares the files of a writer that still runs.
    temporary = path.parent / f".tmp-{os.getpid()}-{secrets.token_hex(8)}"
    try:
        with temporary.open("xb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):  # it stays then, and a later start sweeps it; what went wrong first is told
            temporary.unlink(missing_ok=True)
        raise FileNotWritten(file=path.name, cause=error.strerror) from error


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # it runs, as another user
        pass
    return True


def sweep_folder(folder: Path) -> int:
    """Remove the temporary left-overs in one folder of processes that no longer run; returns how many."""
    removed = 0
    for path in folder.glob(".tmp-*"):
        match = _TMP.fullmatch(path.name)
        if match and not _alive(int(match[1])):
            path.unlink(missing_ok=True)
            removed += 1
    return removed


class Store:
    """Content-addressed files under one folder."""

    def __init__(self, root: Path) -> None:
        """Make the folder if it is missing."""
        self.root = root
        make_folder(root)

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
        if path.exists():
            # Compared, and not trusted by its name: disk or person may have changed what lies there.
            if path.read_bytes() == data:
                return sha256
            # Somebody damaged the stored file. It is set aside, where `verify` reports it, and the good bytes kept.
            path.replace(path.with_name(f"{path.name}.damaged-{secrets.token_hex(4)}"))
        if not path.parent.exists():
            make_folder(path.parent)
        write_synced(path, data)
        # Against accidents only: whoever owns the file can undo it, and then `verify` finds the change.
        path.chmod(0o444)
        return sha256

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
            # The same digits divided otherwise ("abc/def...") spell a hash too, but are not where `path` leads.
            yield (name if _HEX.fullmatch(name) and path == self.path(name) else ""), path

    def sweep(self) -> int:
        """Remove temporary left-overs of processes that no longer run; returns how many."""
        return sum(sweep_folder(folder) for folder in (self.root, *self.root.iterdir()) if folder.is_dir())
