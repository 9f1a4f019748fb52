"""The engines of the server: those of `capture`, in processes of their own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, cast

from api.intake.pool import MOST_BYTES, WorkerPool
from api.intake.recognisers import Engines, Quad, RealEngines, shipped_models
from api.intake.worker import AimAt, Crop, Feed, Finish, Hear, HearPiece, See, SeeBurst, Words
from api.ledger.media_types import media_type, metadata
from capture.expectation import Asked
from capture.reading import Context, Seen, Utterance
from capture.speech.audio import MAX_SECONDS

if TYPE_CHECKING:
    from capture.display.aim import Aim
    from capture.display.burst import Burst
    from capture.speech.memo import Piece, Span

LEAST_S = 20.0
"""Processor time that any recognition may take, s; a clip its own length more, each further photo of a burst half.
Where it was measured speech took a sixth of its length and the worst sound known half; larger models take longer."""

FEED_S = 20.0
"""Processor time that one frame of a live stream may take, s; its process may be busy with a clip before that."""


AIM_S = 3.0
"""Processor time that a frame of the camera's view may take, s: some thirty times what one takes."""


def warm(engines: Engines) -> None:
    """Load models and networks by hearing and seeing nothing, so that the first clip and photo are not slow."""
    import cv2
    import numpy as np

    from capture.errors import CaptureError

    done, blank = cv2.imencode(".png", np.full((480, 640, 3), 90, dtype=np.uint8))
    stream = engines.stream()
    stream.accept(bytes(3200))
    stream.finish()
    if done:
        with suppress(CaptureError):  # there is nothing to see
            engines.see(blank.tobytes())


def seconds_for(data: bytes) -> float:
    """Tell how much processor time hearing a clip may take, s, by the length that its header names."""
    length = metadata(data, media_type(data)).get("duration_ms")
    known = isinstance(length, int) and 0 <= length <= 1000 * MAX_SECONDS
    return LEAST_S + (length / 1000 if known and isinstance(length, int) else MAX_SECONDS)


class PooledStream:
    """A live stream in one of the processes; deaf once that ends."""

    def __init__(self, pool: WorkerPool, asked: Asked = Asked.NOTHING) -> None:
        """Choose a process."""
        self._pool = pool
        self._asked = asked
        self._place = pool.open_stream()
        self.ended = False

    def accept(self, pcm: bytes) -> str:
        """See `ListeningStream.accept`."""
        worker, generation, number = self._place
        feed = Feed(number, pcm, self._pool.dropped(worker), self._asked)
        words = cast("Words", self._pool.ask_one(worker, generation, feed, FEED_S))
        self.ended = words.ended
        return words.text

    def finish(self, context: Context | None = None) -> Utterance:
        """See `ListeningStream.finish`."""
        worker, generation, number = self._place
        utterance = self._pool.ask_one(worker, generation, Finish(number, context), LEAST_S)
        self._pool.close_stream(*self._place, finished=True)
        return cast("Utterance", utterance)

    def __del__(self) -> None:
        """Let the process forget it: a listener whose connection was lost finishes nothing."""
        if hasattr(self, "_place"):
            self._pool.close_stream(*self._place, finished=False)


class PooledEngines:
    """Hears and sees in processes of their own, which may be killed and are replaced."""

    def __init__(
        self,
        model: Path | None = None,
        *,
        second_opinion: bool = True,
        count: int | None = None,
        most: int = MOST_BYTES,
        make: Callable[[], Engines] | None = None,
        warmed: Callable[[Engines], None] = warm,
    ) -> None:
        """Start the processes; they load their models meanwhile.

        Args:
            model: Where the speech model lies; None is the one that ships.
            second_opinion: Ask a second engine about what was heard, if it is installed and not turned off.
            count: How many processes; None for as many as cores and memory allow.
            most: Memory that each may have resident, bytes.
            make: Makes other engines in each process.
            warmed: Makes them load what they load at first use.
        """
        self._model = model
        self.pool = WorkerPool(
            make or partial(RealEngines, model, second_opinion=second_opinion), warmed, count=count, most=most
        )

    def model_folder(self, *, photo: bool) -> Path:
        """See `api.intake.identity.IdentifiedEngines.model_folder`."""
        return shipped_models(self._model, photo=photo)

    def hear(self, data: bytes, context: Context) -> Utterance:
        """See `Engines.hear`."""
        return cast("Utterance", self.pool.ask(Hear(data, context), seconds_for(data)))

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """See `Engines.hear_piece`."""
        return cast("tuple[Span, ...]", self.pool.ask(HearPiece(piece), LEAST_S + 2 * piece.seconds))

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """See `Engines.see`."""
        return cast("Seen", self.pool.ask(See(data, corners), LEAST_S))

    def see_burst(self, frames: Sequence[bytes]) -> Burst:
        """See `Engines.see_burst`."""
        return cast("Burst", self.pool.ask(SeeBurst(tuple(frames)), LEAST_S * (1 + len(frames) / 2)))

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """See `Engines.crop`."""
        return cast("bytes", self.pool.ask(Crop(data, quad), LEAST_S))

    def aim(self, data: bytes, width: int) -> Aim:
        """See `Engines.aim`."""
        return cast("Aim", self.pool.ask_idle(AimAt(data, width), AIM_S))

    def stream(self, asked: Asked = Asked.NOTHING) -> PooledStream:
        """See `Engines.stream`."""
        return PooledStream(self.pool, asked)

    def close(self) -> None:
        """End the processes."""
        self.pool.stop()
