"""The layer between the program and libc that fails one call (`shim.c`): compiled once, loaded by LD_PRELOAD.

Why a layer of ours and not SQLite's own hooks: Python's `sqlite3` offers callbacks for trace, progress and authorising,
which say what SQL runs, and `setlimit`; it offers nothing for SQLite's file layer (no `sqlite3_vfs_register`, no
`sqlite3_test_control`), and the library that comes with a system is built without SQLITE_TEST and its faults. And half
of what must hold lies outside SQLite: evidence, reports, head file. Both call libc, so libc is where faults are made.
"""

from __future__ import annotations

import ctypes
import enum
import os
import shutil
import subprocess
from pathlib import Path

SOURCE = Path(__file__).with_name("shim.c")


class Kind(enum.IntEnum):
    """What happens at the chosen call; the order is that of `shim.c`."""

    NONE = 0
    KILL_BEFORE = 1
    KILL_AFTER = 2
    KILL_TORN = 3
    ENOSPC_ONCE = 4
    EIO_ONCE = 5
    SHORT = 6
    SHORT_ENOSPC = 7
    DISK_FULL = 8
    DISK_EIO = 9

    @property
    def kills(self) -> bool:
        """Tell whether the process dies of it."""
        return Kind.KILL_BEFORE <= self <= Kind.KILL_TORN

    @property
    def lasts(self) -> bool:
        """Tell whether it goes on until it is lifted."""
        return self in (Kind.DISK_FULL, Kind.DISK_EIO)

    def concerns(self, op: str) -> bool:
        """Tell whether a call of this name can fail in this way differently from how another kind fails it."""
        return op == "write" or self not in (Kind.KILL_TORN, Kind.SHORT, Kind.SHORT_ENOSPC)


class NoCompiler(RuntimeError):
    """The layer cannot be made."""


def compile_layer(folder: Path) -> Path:
    """Compile the layer into a folder; returns the library.

    Raises:
        NoCompiler: There is no C compiler, or it refused the source.
    """
    compiler = next(filter(None, map(shutil.which, ("cc", "gcc", "clang"))), None)
    if compiler is None:
        raise NoCompiler("Fault injection needs a C compiler: install gcc and libc6-dev (fixtures/setup.sh test does).")
    library = folder / "faults.so"
    command = [compiler, "-shared", "-fPIC", "-O2", "-Wall", "-o", str(library), str(SOURCE), "-ldl"]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    if made.returncode:
        raise NoCompiler(f"{compiler} did not compile {SOURCE.name}; are the headers (libc6-dev) there? {made.stderr}")
    return library


def environment(library: Path) -> dict[str, str]:
    """Give the environment of a process under the layer; one thread, since it forks."""
    return {**os.environ, "LD_PRELOAD": str(library), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


class Layer:
    """The layer of this process, which must have been started under it."""

    def __init__(self) -> None:
        """Find the layer among what is loaded."""
        self._c = ctypes.CDLL(None)
        self._c.faults_arm.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_int, ctypes.c_long, ctypes.c_int]
        self._c.faults_mark.argtypes = [ctypes.c_char_p]
        self._c.faults_count.restype = ctypes.c_long

    def arm(self, folder: Path, kind: Kind = Kind.NONE, at: int = 0, log: int = -1, told: int = -1) -> None:
        """Begin to count under a folder.

        Args:
            folder: Calls on what lies in it count.
            kind: What happens at the chosen call.
            at: Which call, from 1.
            log: File descriptor for every call with its data; -1 for none.
            told: File descriptor for the name of the call that failed.
        """
        self._c.faults_arm(os.fsencode(folder), log, told, at, kind)

    def lift(self) -> None:
        """End a fault that lasts, if it has begun."""
        self._c.faults_lift()

    def sleep(self) -> None:
        """Count no more."""
        self._c.faults_sleep()

    def count(self) -> int:
        """Count the calls since `arm`."""
        return int(self._c.faults_count())

    def pending(self) -> bool:
        """Tell whether the second half of a fault is still to come: the write that finds no space after a short one."""
        return bool(self._c.faults_pending())

    def mark(self, text: str) -> None:
        """Write a line into the log between two calls."""
        self._c.faults_mark(text.encode())
