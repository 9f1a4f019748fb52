"""Recordings decoded in a process of its own, a piece at a time: a hostile file can end that process, and no other.

Whoever takes the pieces holds the decoder back: it goes on as they are taken, so that little of an hours' recording is
ever in memory.
"""

from __future__ import annotations

import resource
import signal
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

from capture.errors import CaptureError
from capture.speech.memo import Piece

MOST_HOURS = 24
"""Longest recording that is heard, h."""

MOST_BYTES = 2_000_000_000
"""Address space of the decoding process."""

PATIENCE_S = 60.0
"""How long the decoder may be silent, s."""


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


def _limit() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _decode(pipe: Connection, path: Path, parent: str, *, header_only: bool) -> None:
    """Send a recording's header, then its pieces, then its end."""
    from capture.speech.audio import Recording
    from capture.speech.memo import pieces

    _limit()
    with suppress(BrokenPipeError, ConnectionResetError):
        try:
            with path.open("rb") as file:
                recording = Recording(file)
                pipe.send(MemoHeader(recording.duration_s, recording.tags))
                if header_only:
                    return
                for piece in pieces(recording.blocks(), parent):
                    if piece.own_s[0] > 3600 * MOST_HOURS:
                        pipe.send(DecodingEnded(too_long=True))
                        return
                    pipe.send(piece)
            pipe.send(DecodingEnded())
        except CaptureError as problem:
            pipe.send(DecodingEnded(str(problem)))
        except Exception as error:  # told to whoever waits; the other files go on
            pipe.send(DecodingEnded(f"The decoder failed ({type(error).__name__})."))


def decoded(path: Path, parent: str, *, header_only: bool = False) -> Iterator[MemoHeader | Piece | DecodingEnded]:
    """Decode a recording: its header, its pieces in order, its end.

    Args:
        path: The file.
        parent: Its SHA-256.
        header_only: Stop after the header.
    """
    context = get_context("spawn")
    pipe, other = context.Pipe(duplex=False)
    process = context.Process(
        target=_decode, args=(other, path, parent), kwargs={"header_only": header_only}, name="decoder", daemon=True
    )
    process.start()
    other.close()
    try:
        while True:
            if not pipe.poll(PATIENCE_S):
                yield DecodingEnded("The decoder took too long.")
                return
            try:
                given: MemoHeader | Piece | DecodingEnded = pipe.recv()
            except (EOFError, OSError):
                if not header_only:
                    yield DecodingEnded("The decoder's process ended: the file is damaged.")
                return
            yield given
            if isinstance(given, DecodingEnded):
                return
    finally:
        process.kill()
        process.join()
        pipe.close()
