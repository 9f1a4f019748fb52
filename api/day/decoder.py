"""Recordings decoded in a process of its own, a piece at a time: a hostile file can end that process, and no other.

Whoever takes the pieces holds the decoder back: it goes on as they are taken, so that little of an hours' recording is
ever in memory. A process that died or fell silent is replaced for the next file.
"""

from __future__ import annotations

import resource
import signal
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from api.intake.worker import processor_s
from capture.errors import CaptureError
from capture.speech.memo import Piece

MOST_HOURS = 24
"""Longest recording that is heard, h."""

MOST_BYTES = 2_000_000_000
"""Address space of the decoding process."""

SILENT_S = 60.0
"""Processor time that the decoder may take between two pieces, s, which is the same however busy the machine is."""

PATIENCE_S = 900.0
"""How long it may be silent by the clock, s: it hangs."""

_LOOK_S = 0.5

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
    """The end of a recording.

    Attributes:
        cause: Why it ended early; None where it is whole.
        too_long: It is over the limit.
        again: Another run may have more luck: the machine was too busy.
    """

    cause: str | None = None
    too_long: bool = False
    again: bool = False


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
            while self._answers():
                given: MemoHeader | Piece | DecodingEnded = self._pipe.recv()
                yield given
                if isinstance(given, MemoHeader | DecodingEnded):
                    return
        except (EOFError, OSError):
            self.close()
            yield DecodingEnded(_DIED)
            return
        self.close()
        yield DecodingEnded("The decoder took too long.", again=True)

    def _answers(self) -> bool:
        """Wait for the next answer; False where the process takes too much for it."""
        pid = self._process.pid or 0 if self._process is not None else 0
        begun, used = time.monotonic(), processor_s(pid)
        while not self._pipe.poll(_LOOK_S):
            if processor_s(pid) - used > SILENT_S or time.monotonic() - begun > PATIENCE_S:
                return False
        return True

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        context = get_context("spawn")
        self._pipe, other = context.Pipe()
        process = context.Process(target=_work, args=(other,), name="decoder", daemon=True)
        process.start()
        self._process = process
        other.close()

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._pipe.close()
            self._process = None
