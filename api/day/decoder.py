"""Recordings decoded in a process of its own, a piece at a time: a hostile file can end that process, and no other.

Whoever takes the pieces holds the decoder back: it goes on as they are taken, so that little of an hours' recording is
ever in memory. A process that died or fell silent is replaced for the next file.
"""

from __future__ import annotations

import resource
import signal
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from capture.errors import CaptureError
from capture.speech.memo import Piece

MOST_HOURS = 24
"""Longest recording that is heard, h."""

MOST_BYTES = 2_000_000_000
"""Address space of the decoding process."""

PATIENCE_S = 120.0
"""How long the decoder may be silent, s; the first file waits for its start as well."""

_DIED = "The decoder's process ended at it: the file is damaged."


@dataclass(frozen=True)
class MemoHeader:
    """What a recording says of itself.

    Attributes:
        duration_s: Its length, s; None where it does not say.
        tags: Its tags.
    """

    duration_s: float | None
    tags: dict[str, str]


@dataclass(frozen=True)
class DecodingEnded:
    """The end of a recording: why it ended early; None where it is whole."""

    cause: str | None = None
    too_long: bool = False


def _work(pipe: Connection) -> None:
    """Answer requests: a path for its header, a path with its hash for its pieces."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            path, parent = pipe.recv()
            try:
                for given in _decoded(path, parent):
                    pipe.send(given)
            except CaptureError as problem:
                pipe.send(DecodingEnded(str(problem)))
            except (BrokenPipeError, ConnectionResetError):
                raise
            except Exception as error:  # told to whoever waits; the other files go on
                pipe.send(DecodingEnded(f"The decoder failed ({type(error).__name__})."))


def _decoded(path: Path, parent: str) -> Iterator[MemoHeader | Piece | DecodingEnded]:
    from capture.speech.audio import Recording
    from capture.speech.memo import pieces

    with path.open("rb") as file:
        recording = Recording(file)
        if not parent:
            yield MemoHeader(recording.duration_s, recording.tags)
            return
        for piece in pieces(recording.blocks(), parent):
            if piece.own_s[0] > 3600 * MOST_HOURS:
                yield DecodingEnded(too_long=True)
                return
            yield piece
    yield DecodingEnded()


class Decoder:
    """A process that decodes one recording after the other; for one thread."""

    def __init__(self) -> None:
        """Begin without a process: it starts with the first file."""
        self._process: SpawnProcess | None = None
        self._pipe: Connection

    def header(self, path: Path) -> MemoHeader | DecodingEnded:
        """Read what a recording says of itself; `DecodingEnded` says why it cannot be read."""
        given = next(self._asked(path, ""))
        return given if isinstance(given, MemoHeader | DecodingEnded) else DecodingEnded(_DIED)

    def pieces(self, path: Path, parent: str) -> Iterator[Piece | DecodingEnded]:
        """Decode a recording: its pieces in order, then its end.

        Args:
            path: The file.
            parent: Its SHA-256.
        """
        for given in self._asked(path, parent):
            if not isinstance(given, MemoHeader):
                yield given
            if isinstance(given, DecodingEnded):
                return

    def _asked(self, path: Path, parent: str) -> Iterator[MemoHeader | Piece | DecodingEnded]:
        try:
            self._start()
            self._pipe.send((path, parent))
            while self._pipe.poll(PATIENCE_S):
                given: MemoHeader | Piece | DecodingEnded = self._pipe.recv()
                yield given
                if isinstance(given, MemoHeader | DecodingEnded):
                    return
        except (EOFError, OSError):
            self.close()
            yield DecodingEnded(_DIED)
            return
        self.close()
        yield DecodingEnded("The decoder took too long.")

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        context = get_context("spawn")
        self._pipe, other = context.Pipe()
        self._process = context.Process(target=_work, args=(other,), name="decoder", daemon=True)
        self._process.start()
        other.close()

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._pipe.close()
            self._process = None
