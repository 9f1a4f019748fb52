"""Live hearing: words while a person speaks, and what they mean at the end."""

from __future__ import annotations

from pathlib import Path

from capture.expectation import Asked
from capture.reading import Context, Utterance
from capture.speech.recogniser import SpeechModel, speech_model
from capture.speech.understand import understand


class Listener:
    """One utterance being spoken: samples in, words so far out.

    A listener belongs to one thread at a time; many may share one model.
    """

    def __init__(self, model: Path | SpeechModel | None = None, asked: Asked = Asked.NOTHING) -> None:
        """Begin to listen.

        Args:
            model: A loaded model, or the directory of one; None for the default.
            asked: What was asked, and so is likelier to come.

        Raises:
            capture.errors.ModelError: The model is missing or damaged.
        """
        self._model = model if isinstance(model, SpeechModel) else speech_model(model)
        self._stream = self._model.stream(asked)

    @property
    def ended(self) -> bool:
        """Whether the end of the speech was found in what came so far."""
        return self._stream.ended

    def accept(self, pcm: bytes) -> str:
        """Take 16 kHz mono samples, signed 16 bit; returns the words so far.

        Raises:
            capture.errors.EngineError: The engine failed.
        """
        return self._stream.accept(pcm)

    def finish(self, context: Context | None = None) -> Utterance:
        """End the utterance and understand it; the listener cannot be used afterwards."""
        return understand(self._stream.finish(), context, self._model.confidence_model)
