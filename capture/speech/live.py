"""Hands-free hearing: an endless stream of sound to utterances, one for each time somebody spoke.

A recording is heard the same way where it is longer than a clip may be: nothing of it is held but the utterance that is
being spoken, however long it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain

from capture.reading import Context, Utterance
from capture.speech.audio import MAX_SECONDS, RATE
from capture.speech.recogniser import SpeechModel
from capture.speech.stream import Listener
from capture.speech.understand import understand

IDLE_S = 8.0
"""A segment this long without a word is dropped, so that an idle microphone costs no memory."""

KEPT_S = 0.6
"""What is kept of an idle segment, s: a word that just began is not cut."""

_BYTES = 2 * RATE  # a second of 16-bit samples


@dataclass(frozen=True)
class Spoken:
    """One utterance of a stream; `start_s` and `end_s` count from the stream's first sample."""

    utterance: Utterance
    start_s: float
    end_s: float


def spoken(blocks: Iterable[bytes], model: SpeechModel, context: Context | None = None) -> Iterator[Spoken]:
    """Hear a stream; each utterance is yielded when a pause ends it, the last one when the stream ends.

    What an utterance says of the place holds for those after it.

    Args:
        blocks: 16 kHz mono samples, signed 16 bit, little endian, in pieces of any size.
        model: Who hears.
        context: What held before the first utterance.

    Raises:
        EngineError: The engine failed.
    """
    context = context or Context()
    taken = 0
    segment = _Segment(model, 0)
    for block in _whole_samples(blocks):
        taken += len(block)
        segment.hear(block)
        # Somebody who talks without a pause is cut at the limit of a clip: memory and time stay bounded.
        if segment.ended or segment.seconds >= MAX_SECONDS:
            found = segment.finish(context, taken)
            segment = _Segment(model, taken)
        elif not segment.words and segment.seconds >= IDLE_S:
            found, segment = None, segment.renewed(taken)
        else:
            continue
        if found is not None:
            context = found.utterance.context
            yield found
    last = segment.finish(context, taken)
    if last is not None:
        yield last


def recorded(blocks: Iterable[bytes], model: SpeechModel) -> Iterator[Spoken]:
    """Hear a recording: one of a clip's length as one utterance, pauses and all, and a longer one as a stream.

    Args:
        blocks: 16 kHz mono samples, signed 16 bit, little endian, in pieces of any size.
        model: Who hears.

    Raises:
        MediaError: What the blocks come from cannot be decoded further.
        EngineError: The engine failed.
    """
    rest, begun = iter(blocks), bytearray()
    for block in rest:
        begun += block
        if len(begun) > MAX_SECONDS * _BYTES:
            yield from spoken(_tenths(chain([bytes(begun)], rest)), model)
            return
    utterance = understand(model.hear(bytes(begun)), None, model.confidence_model)
    yield Spoken(utterance, 0.0, round(len(begun) / _BYTES, 2))


def _tenths(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """Cut blocks into tenths of a second: an utterance can end only where a block does."""
    for block in blocks:
        for at in range(0, len(block), _BYTES // 10):
            yield block[at : at + _BYTES // 10]


def _whole_samples(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """Yield the blocks, each with whole samples: a segment may begin with any of them."""
    odd = b""
    for block in blocks:
        joined = odd + block
        odd = joined[len(joined) & ~1 :]
        yield joined[: len(joined) & ~1]


class _Segment:
    """One segment of the stream on its way through a listener."""

    def __init__(self, model: SpeechModel, start: int) -> None:
        self._model = model
        self._listener = Listener(model)
        self._start = start
        self._sound = bytearray()
        self.words = ""

    @property
    def seconds(self) -> float:
        """Length so far."""
        return len(self._sound) / _BYTES

    @property
    def ended(self) -> bool:
        """A pause came after words."""
        return self._listener.ended

    def hear(self, block: bytes) -> None:
        """Take the next samples."""
        self._sound += block
        self.words = self._listener.accept(block)

    def renewed(self, taken: int) -> _Segment:
        """Start a fresh segment that has heard only the end of this one."""
        tail = bytes(self._sound[-int(KEPT_S * RATE) * 2 :])
        fresh = _Segment(self._model, taken - len(tail))
        fresh.hear(tail)
        return fresh

    def finish(self, context: Context, taken: int) -> Spoken | None:
        """End the segment; None where no word was in it."""
        utterance = self._listener.finish(context)
        if not utterance.heard.text:
            return None
        return Spoken(utterance, round(self._start / _BYTES, 2), round(taken / _BYTES, 2))
