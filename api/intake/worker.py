"""The process that recognises: it takes one request after the other from a pipe, and may die alone.

It ends when the pipe does, that is with the server, however that ends. Its address space is limited to what it needs
once its models are loaded and what one recognition may take more; the other side of the pipe watches what is resident.
"""

from __future__ import annotations

import logging
import os
import resource
import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

from api.intake.errors import RecognitionFailed
from api.intake.recognisers import Engines, ListeningStream, Quad
from capture.errors import CaptureError
from capture.expectation import Asked
from capture.reading import Context

if TYPE_CHECKING:
    from capture.speech.memo import Piece

log = logging.getLogger(__name__)

NICENESS = 5
"""By how much recognising steps back behind the server, which has people waiting for pages."""


@dataclass(frozen=True)
class Hear:
    """Hear a clip."""

    data: bytes
    context: Context


@dataclass(frozen=True)
class HearPiece:
    """Hear a piece of a long recording."""

    piece: Piece


@dataclass(frozen=True)
class See:
    """Read the displays in a photo."""

    data: bytes
    corners: Quad | None


@dataclass(frozen=True)
class SeeBurst:
    """Read one display from several photos."""

    frames: tuple[bytes, ...]


@dataclass(frozen=True)
class Crop:
    """Cut a display out of a photo."""

    data: bytes
    quad: Quad


@dataclass(frozen=True)
class AimAt:
    """Tell how a display stands in a frame; a photo would be `width` px wide."""

    data: bytes
    width: int


@dataclass(frozen=True)
class Feed:
    """Give a stream its next samples; one that is not known begins, led by what was `asked`.

    `dropped` names the streams that nobody needs any more.
    """

    stream: int
    pcm: bytes
    dropped: tuple[int, ...]
    asked: Asked = Asked.NOTHING


@dataclass(frozen=True)
class Finish:
    """End a stream and understand it."""

    stream: int
    context: Context | None


Request = Hear | HearPiece | See | SeeBurst | Crop | AimAt | Feed | Finish


@dataclass(frozen=True)
class Words:
    """The words of a stream so far, and whether the end of the speech was found."""

    text: str
    ended: bool


@dataclass(frozen=True)
class Done:
    """What a request gave."""

    value: object


@dataclass(frozen=True)
class Failed:
    """Why a request gave nothing."""

    problem: CaptureError


Reply = Done | Failed


class Recogniser:
    """Answers requests with engines of its own."""

    def __init__(self, engines: Engines) -> None:
        """Begin without streams."""
        self._engines = engines
        self._streams: dict[int, ListeningStream] = {}

    def answer(self, request: Request) -> Reply:
        """Answer one request; never raises."""
        try:
            return Done(self._do(request))
        except CaptureError as problem:
            return Failed(problem)
        except Exception as error:  # told to the server, which keeps the file and goes on
            log.exception("A recognition engine failed")
            return Failed(RecognitionFailed(kind=type(error).__name__))

    def _hear(self, request: Hear | HearPiece) -> object:
        if isinstance(request, HearPiece):
            return self._engines.hear_piece(request.piece)
        return self._engines.hear(request.data, request.context)

    def _see(self, request: See | SeeBurst | Crop | AimAt) -> object:
        if isinstance(request, SeeBurst):
            return self._engines.see_burst(request.frames)
        if isinstance(request, Crop):
            return self._engines.crop(request.data, request.quad)
        if isinstance(request, AimAt):
            return self._engines.aim(request.data, request.width)
        corners = request.corners
        return self._engines.see(request.data) if corners is None else self._engines.see(request.data, corners)

    def _do(self, request: Request) -> object:
        if isinstance(request, Hear | HearPiece):
            return self._hear(request)
        if isinstance(request, See | SeeBurst | Crop | AimAt):
            return self._see(request)
        if isinstance(request, Finish):
            return self._streams.pop(request.stream).finish(request.context)
        for number in request.dropped:
            self._streams.pop(number, None)
        stream = self._streams.get(request.stream)
        if stream is None:
            stream = self._streams[request.stream] = self._engines.stream(request.asked)
        return Words(stream.accept(request.pcm), stream.ended)


def resident_bytes(pid: int) -> int:
    """Tell how much memory of a process is resident, bytes; 0 once it has ended."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text("ascii").split()[1]) * resource.getpagesize()
    except (OSError, IndexError):
        return 0


def processor_s(pid: int) -> float:
    """Tell how much processor time a process has used, s; 0 once it has ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text("ascii", "replace").rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _limit_memory(most: int) -> None:
    """Refuse address space far beyond what may become resident: a leap is stopped before anybody can look."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    room = 2 * most - resident_bytes(os.getpid())  # threads and arenas reserve what they never use
    resource.setrlimit(resource.RLIMIT_AS, (pages * resource.getpagesize() + room,) * 2)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def work(pipe: Connection, make: Callable[[], Engines], warm: Callable[[Engines], None], most: int) -> None:
    """Recognise until the pipe ends.

    Args:
        pipe: Requests in, replies out; the first reply says that the process is ready.
        make: Makes the engines.
        warm: Makes them load what they load at first use.
        most: Memory that may be resident, bytes.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server's keyboard is not ours; we end with its pipe
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    with suppress(OSError):
        os.nice(NICENESS)
    recogniser = Recogniser(engines := make())
    try:
        warm(engines)
    except Exception:  # each request will say what is missing
        log.exception("The engines could not be loaded beforehand")
    _limit_memory(most)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        pipe.send(Done(None))
        while True:
            pipe.send(recogniser.answer(pipe.recv()))
