"""A journal of results, one line of JSON each, from which a run goes on that was cut off."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import sys
from pathlib import Path

from tests.faults.runner import ROOT
from tests.faults.worker import Point, Result, result_from

SOURCES = ("api", "capture", "grading", "tests/faults", "tests/api")


class OtherProgram(RuntimeError):
    """The journal holds results of another state of the source, or of another SQLite: they say nothing about this."""


def source_digest() -> str:
    """Hash what a result depends on: the program, and what disturbs it."""
    whole = hashlib.sha256()
    for folder in SOURCES:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in (".py", ".c", ".zip", ".j2", ".css"):
                whole.update(f"{path.relative_to(ROOT)}\0".encode() + hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()


class Journal:
    """Results so far, on file as soon as they are known.

    Attributes:
        results: By point.
    """

    def __init__(self, path: Path | None) -> None:
        """Read what is there; a line that was cut off is made again.

        Args:
            path: The file; None to keep nothing.

        Raises:
            OtherProgram: It was written for another state of the source.
        """
        self._path = path
        self.results: dict[Point, Result] = {}
        if path is None:
            return
        # The calls are those of this SQLite and this Python; another makes others under the same numbers.
        head = json.dumps({"source": source_digest(), "sqlite": sqlite3.sqlite_version, "python": sys.version})
        lines = path.read_text().splitlines(keepends=True) if path.exists() else []
        if lines and lines[0].rstrip("\n") != head:
            raise OtherProgram(f"{path} was written for another source, SQLite or Python. Name a new file.")
        whole = [line for line in lines[1:] if line.endswith("\n")]
        for line in whole:
            result = result_from(line)
            self.results[result.point] = result
        path.write_text("".join([f"{head}\n", *whole]))

    def add(self, result: Result) -> None:
        """Keep a result."""
        self.results[result.point] = result
        if self._path is not None:
            with self._path.open("a") as out:
                out.write(f"{result.line()}\n")
