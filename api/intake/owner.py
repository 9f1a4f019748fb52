"""One process at a time owns a data folder: it alone recognises, resumes, sweeps and adopts.

Others work beside it: they read, and write through the write lock. The lock is `flock` on a file that names its holder;
the system lets go of it when the holder dies, however it dies, so a name left in the file keeps nobody out.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import socket
import sys
from pathlib import Path

from api.intake.errors import FolderInUse
from api.ledger.clock import Clock, utc_text
from api.ledger.errors import file_not_written
from api.ledger.opening import make_private_file, refuse_to_begin_anew
from api.ledger.store import PRIVATE_FILE, make_private

LOCK_FILE = "owner.lock"
"""Name of the file in the data folder."""


class FolderOwner:
    """The right to a data folder, held until it is released or the process ends."""

    def __init__(self, folder: Path, clock: Clock) -> None:
        """Take it.

        Args:
            folder: The data folder, made if it is missing.
            clock: Gives the instant that is written as the start.

        Raises:
            DatabaseUnusable: Earlier work lies there without its database, or the database is none of ours.
            FolderInUse: Another one holds it; the error names who.
        """
        refuse_to_begin_anew(folder)  # before anything is written into a folder that is none of ours
        make_private(folder)
        path = folder / LOCK_FILE
        make_private_file(path)
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, PRIVATE_FILE)
        except OSError as error:
            raise file_not_written(path.name, error) from error
        self._handle = handle
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            named = os.pread(handle, 4096, 0).decode("utf-8", "replace")
            os.close(handle)
            raise FolderInUse(folder=folder, owner=described(named)) from None
        # The lock is what holds; the name is for whoever is refused, and a disk that does not take it stops nothing.
        with contextlib.suppress(OSError):
            os.ftruncate(handle, 0)
            os.pwrite(handle, json.dumps(_myself(utc_text(clock())), indent=1).encode(), 0)

    def release(self) -> None:
        """Let go; the file stays, empty, since somebody may be opening it just now."""
        if self._handle >= 0:
            with contextlib.suppress(OSError):
                os.ftruncate(self._handle, 0)
            os.close(self._handle)
            self._handle = -1


def _myself(since: str) -> dict[str, object]:
    command = " ".join([Path(sys.argv[0]).name, *sys.argv[1:]])[:200]
    return {"pid": os.getpid(), "host": socket.gethostname(), "since": since, "command": command}


def described(text: str) -> str:
    """Say who holds the lock, from what the file holds; in words even where it holds nonsense."""
    try:
        held = json.loads(text)
        return f"process {held['pid']} on {held['host']} since {held['since']} ({held['command']})"
    except (ValueError, KeyError, TypeError):
        return "another process"
