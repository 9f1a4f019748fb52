"""The engines behind recognition, as the server sees them: small protocols, and the real ones behind them.

Tests of the conversation hand in their own; the real ones load lazily, since a speech model takes memory and time.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from capture.expectation import Asked
from capture.reading import Context, Seen, Utterance

if TYPE_CHECKING:
    from capture.display.aim import Aim
    from capture.display.burst import Burst
    from capture.speech.memo import Piece, Span
    from capture.speech.recogniser import SpeechModel

Quad = tuple[tuple[float, float], ...]


class ListeningStream(Protocol):
    """One utterance being spoken."""

    def accept(self, pcm: bytes) -> str:
        """Take 16 kHz mono 16-bit samples; returns the words so far."""
        ...

    def finish(self, context: Context | None = None) -> Utterance:
        """End the utterance and understand it."""
        ...

    @property
    def ended(self) -> bool:
        """Whether the end of the speech was found."""
        ...


class Engines(Protocol):
    """Hearing and seeing."""

    def hear(self, data: bytes, context: Context) -> Utterance:
        """Understand a clip.

        Raises:
            capture.errors.CaptureError: It cannot be decoded, or the engine failed.
        """
        ...

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """Hear a piece of a long recording.

        Raises:
            capture.errors.CaptureError: The engine failed.
        """
        ...

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """Read the displays in a photo, or the one whose corners a person marked.

        Raises:
            capture.errors.CaptureError: It cannot be decoded, or the engine failed.
        """
        ...

    def see_burst(self, frames: Sequence[bytes]) -> Burst:
        """Read one display from several photos of it.

        Raises:
            capture.errors.CaptureError: None of them can be decoded, or the engine failed.
        """
        ...

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """Cut a display out of a photo and rectify it; returns a PNG file."""
        ...

    def aim(self, data: bytes, width: int) -> Aim:
        """Tell how a display stands in a frame of the camera's view; a photo would be `width` px wide.

        Raises:
            RecognisersBusy: Something else is being recognised; a frame never waits, nor is waited for.
            capture.errors.CaptureError: It cannot be decoded, or the engine failed.
        """
        ...

    def stream(self, asked: Asked = Asked.NOTHING) -> ListeningStream:
        """Begin to listen to one utterance, which may answer what was asked."""
        ...


def shipped_models(speech: Path | None, *, photo: bool) -> Path:
    """Give the folder of the networks that see, or of the speech model in use."""
    if photo:
        from capture.display.networks import MODELS

        return MODELS
    from capture.speech.model_files import default_model_path

    return speech or default_model_path()


class RealEngines:
    """The engines of `capture`, loaded at first use.

    Imports are inside: models and native libraries take seconds and memory that listing jobs, verifying or reporting
    need not spend, and a recogniser that is missing must not keep the server from starting.
    """

    def __init__(self, model: Path | None = None, *, second_opinion: bool = True) -> None:
        """Keep what to hear with.

        Args:
            model: Where the speech model lies; None is the one that ships.
            second_opinion: Ask a second engine about what was heard, if it is installed and not turned off.
        """
        self._model, self._second_opinion = model, second_opinion

    def model_folder(self, *, photo: bool) -> Path:
        """See `api.intake.identity.IdentifiedEngines.model_folder`."""
        return shipped_models(self._model, photo=photo)

    def _speech(self) -> SpeechModel:
        from capture.speech.recogniser import speech_model

        return speech_model(self._model, judged=self._second_opinion)

    def hear(self, data: bytes, context: Context) -> Utterance:
        """See `Engines.hear`."""
        from capture.speech.understand import hear_clip

        return hear_clip(data, context, self._speech())

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        """See `Engines.hear_piece`."""
        from capture.speech.memo import hear_piece

        return hear_piece(piece, self._speech())

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        """See `Engines.see`."""
        from capture.display import see_photo

        return see_photo(data, corners=corners)

    def see_burst(self, frames: Sequence[bytes]) -> Burst:
        """See `Engines.see_burst`."""
        from capture.display import see_burst

        return see_burst(frames)

    def crop(self, data: bytes, quad: Quad) -> bytes:
        """See `Engines.crop`."""
        from capture.display import crop_of

        return crop_of(data, quad)

    def aim(self, data: bytes, width: int) -> Aim:
        """See `Engines.aim`."""
        from capture.display.aim import aim_of

        return aim_of(data, width)

    def stream(self, asked: Asked = Asked.NOTHING) -> ListeningStream:
        """See `Engines.stream`."""
        from capture.speech.stream import Listener

        return Listener(self._speech(), asked)
