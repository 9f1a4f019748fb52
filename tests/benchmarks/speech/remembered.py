"""Peers' answers are kept: the same sound is heard by the same peer once, so only our own part of a run is repeated.

An answer is kept under the sound itself and everything that shapes it (package version, prompt, phrases), so it can
never be taken for another. Times are those of the first hearing; of a peer's time after the end of the sound, the
smaller of wall and processor time counts as the processor's. Delete `.cache/speech-bench` to hear all anew.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Protocol

from capture.language.parse import parse
from capture.language.written import spoken
from tests.benchmarks.speech.engines import Answer

STORE = Path(__file__).resolve().parents[3] / ".cache" / "speech-bench" / "answers.sqlite"


class Peer(Protocol):
    """A peer: what shapes its answers, and its words for one clip with times (s) after the end and of the processor."""

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""

    def write(self, pcm: bytes) -> tuple[str, float, float]:
        """Give words, s from the end of the sound to them, s of the processor in all."""


class Remembered:
    """A peer that is only asked about sounds it has not heard before."""

    def __init__(self, shape: str, maker: Callable[[], Peer], *, store: Path = STORE) -> None:
        """Open the store; the peer itself is made when first needed.

        Args:
            shape: All that shapes its answers: name, version, prompt, phrases.
            maker: Makes the peer.
            store: The file of answers.
        """
        self._shape, self._maker = shape, maker
        self._made: Peer | None = None
        self._store = store
        store.parent.mkdir(parents=True, exist_ok=True)
        with closing(self._open()) as file, file:
            file.execute("create table if not exists heard (id text primary key, words text, late real, cpu real)")

    def _open(self) -> sqlite3.Connection:
        return sqlite3.connect(self._store, timeout=60)

    @property
    def peer(self) -> Peer:
        """The peer."""
        self._made = self._made or self._maker()
        return self._made

    @property
    def size(self) -> int:
        """Bytes of model files on disk."""
        return self.peer.size

    def hear(self, pcm: bytes) -> Answer:
        """Hear one clip, or remember what was heard."""
        name = hashlib.sha256(self._shape.encode() + b"\0" + pcm).hexdigest()
        with closing(self._open()) as file:
            row = file.execute("select words, late, cpu from heard where id = ?", (name,)).fetchone()
        if row is None:
            row = self.peer.write(pcm)
            with closing(self._open()) as file, file:
                file.execute("insert or replace into heard values (?, ?, ?, ?)", (name, *row))
        words, late, cpu = row
        return Answer(words, parse(spoken(words)), late, cpu, min(late, cpu))
