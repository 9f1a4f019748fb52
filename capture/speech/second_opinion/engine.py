"""What an engine must do to give a second opinion: judge candidates, and say what it would write itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from capture.reading import OwnTranscript


class Sound(Protocol):
    """A sound that the engine has taken in."""

    def own(self) -> OwnTranscript:
        """Give the engine's own transcript."""
        ...

    def log_p(self, texts: Sequence[str]) -> list[float]:
        """Judge candidates: the natural logarithm of the probability of each text given the sound.

        Args:
            texts: Plain lower-case words.
        """
        ...


class SecondOpinion(Protocol):
    """An engine that gives second opinions; one thread at a time may use it."""

    @property
    def name(self) -> str:
        """Its name and version, for the record."""
        ...

    def listen(self, pcm: bytes) -> Sound:
        """Take a sound in.

        Args:
            pcm: 16 kHz mono samples, signed 16 bit, little endian; at least a tenth of a second.

        Raises:
            capture.errors.EngineError: The engine failed.
        """
        ...
