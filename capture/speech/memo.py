"""Long recordings to utterances: cut into pieces at quiet moments, each piece heard by itself, readings kept whole.

Pieces overlap, so that a cut never takes a word's surroundings away; an utterance belongs to the piece in which its
first word begins. What is heard of a piece depends on that piece alone: pieces may be heard in any order, anywhere.
Words that a pause parted from their unit ("point eight ... gig") are heard again as one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from capture.language.dictation import goes_on, unfinished
from capture.reading import Heard
from capture.speech.audio import MAX_SECONDS, RATE
from capture.speech.encoder import flac

if TYPE_CHECKING:  # a process that only decodes needs no recogniser, which takes seconds to import
    from capture.speech.recogniser import SpeechModel

LEAST_S, MOST_S = 45.0, 75.0
"""A piece is as long as this, s: short enough to share among cores, long enough that the overlap costs little."""

LEAD_S, TAIL_S = 4.0, 10.0
"""How much of the sound before and after is heard with a piece, s: a reading that begins in it may end beyond."""

QUIET_S = 0.6
"""Pieces are parted in the middle of the quietest stretch of this length, s."""

JOIN_S = 4.0
"""Silence within one reading that is still bridged, s (program's rule: the time of a second look at the display)."""

AROUND_S = 0.4
"""Sound kept before and after the words of an utterance in its clip, s."""

IDLE_S = 8.0
"""A stretch this long without a word is let go, s."""

_KEPT_S = 0.6
_BYTES = 2 * RATE
_STEP = _BYTES // 10


@dataclass(frozen=True)
class Piece:
    """A piece of a recording, with what lies around it.

    Attributes:
        parent: SHA-256 of the recording.
        number: Place among the recording's pieces, from 0.
        begin_s: Where the sound given begins in the recording, s.
        own_s: From where to where the piece reaches, s; what begins outside belongs to its neighbours.
        pcm: 16 kHz mono samples, signed 16 bit.
    """

    parent: str
    number: int
    begin_s: float
    own_s: tuple[float, float]
    pcm: bytes

    @property
    def seconds(self) -> float:
        """How much sound it holds, s."""
        return len(self.pcm) / _BYTES


@dataclass(frozen=True)
class Span:
    """One utterance of a recording.

    Attributes:
        start_s: Where its first word begins in the recording, s.
        end_s: Where its last word ends, s.
        heard: What was heard; its words count from the clip's beginning.
        clip: The sound as a FLAC file that names the recording it was cut from.
    """

    start_s: float
    end_s: float
    heard: Heard
    clip: bytes


def pieces(blocks: Iterable[bytes], parent: str) -> Iterator[Piece]:
    """Cut a recording into pieces while it is decoded; about two of them are held at a time.

    Args:
        blocks: 16 kHz mono samples, signed 16 bit, in blocks of any size.
        parent: SHA-256 of the recording.

    Raises:
        MediaError: What the blocks come from cannot be decoded further.
    """
    held, held_from, number, own = bytearray(), 0, 0, 0
    most, tail, lead = int(MOST_S * _BYTES), int(TAIL_S * _BYTES), int(LEAD_S * RATE) * 2
    for block in blocks:
        held += block
        while held_from + len(held) >= own + most + tail:
            cut = own + _quiet_place(bytes(held[own - held_from :][:most]))
            yield _piece(held, held_from, parent, number, (own, cut), cut + tail)
            own, number = cut, number + 1
            gone = max(0, cut - lead - held_from)
            del held[:gone]
            held_from += gone
    if len(held) // 2:
        yield _piece(held, held_from, parent, number, (own, held_from + len(held)), held_from + len(held))


def _piece(held: bytearray, held_from: int, parent: str, number: int, own: tuple[int, int], end: int) -> Piece:
    sound = bytes(held[: end - held_from])
    return Piece(parent, number, held_from / _BYTES, (own[0] / _BYTES, own[1] / _BYTES), sound[: len(sound) & ~1])


def _quiet_place(sound: bytes) -> int:
    """Find the middle of the quietest moment after the least length of a piece; returns its byte."""
    samples = np.frombuffer(sound, "<i2").astype(np.float64)
    frame = RATE // 20
    count = len(samples) // frame
    energy = (samples[: count * frame].reshape(count, frame) ** 2).mean(1)
    width = int(QUIET_S * RATE / frame)
    smooth = np.convolve(energy, np.ones(width), "valid")
    first = int(LEAST_S * RATE / frame)
    best = first + int(np.argmin(smooth[first:]))
    return (best + width // 2) * frame * 2


def hear_piece(piece: Piece, model: SpeechModel) -> tuple[Span, ...]:
    """Hear a piece: the utterances that begin in it, in order.

    Args:
        piece: The piece.
        model: Who hears.

    Raises:
        EngineError: The engine failed.
    """
    found = _joined(list(_utterances(piece.pcm, model)), piece.pcm, model)
    spans = (_span(piece, start, heard) for start, heard in found)
    first, last = piece.own_s
    return tuple(span for span in spans if first <= span.start_s < last)


def _utterances(pcm: bytes, model: SpeechModel) -> Iterator[tuple[float, Heard]]:
    """Yield where each utterance's sound begins, s, and what was heard in it."""
    start, stream = 0, model.stream()
    taken = 0
    for at in range(0, len(pcm), _STEP):
        block = pcm[at : at + _STEP]
        taken = at + len(block)
        words = stream.accept(block)
        seconds = (taken - start) / _BYTES
        if stream.ended or seconds >= MAX_SECONDS:
            heard = stream.finish()
            if heard.words:
                yield start / _BYTES, heard
            start, stream = taken, model.stream()
        elif not words and seconds >= IDLE_S:
            start, stream = max(0, taken - int(_KEPT_S * RATE) * 2), model.stream()
            stream.accept(pcm[start:taken])
    heard = stream.finish()
    if heard.words:
        yield start / _BYTES, heard


def _joined(found: list[tuple[float, Heard]], pcm: bytes, model: SpeechModel) -> list[tuple[float, Heard]]:
    """Hear two utterances again as one where the first breaks off and the second goes on."""
    done: list[tuple[float, Heard]] = []
    for start, heard in found:
        if done:
            before, earlier = done[-1]
            gap = start + heard.words[0].start - (before + earlier.words[-1].end)
            if gap <= JOIN_S and unfinished(earlier.text) and goes_on(earlier.text, heard.text):
                begin = max(0.0, before + earlier.words[0].start - AROUND_S)
                end = start + heard.words[-1].end + AROUND_S
                again = model.hear(_cut(pcm, begin, end))
                if again.words:
                    done[-1] = (begin, again)
                    continue
        done.append((start, heard))
    return done


def _cut(pcm: bytes, begin_s: float, end_s: float) -> bytes:
    return pcm[2 * int(max(0.0, begin_s) * RATE) : 2 * int(max(0.0, end_s) * RATE)]


def _span(piece: Piece, start: float, heard: Heard) -> Span:
    first, last = start + heard.words[0].start, start + heard.words[-1].end
    begin = max(0.0, first - AROUND_S)
    sound = _cut(piece.pcm, begin, last + AROUND_S)
    moved = Heard(
        heard.text,
        tuple(word.moved(start - begin) for word in heard.words),
        heard.alternatives,
        round(len(sound) / _BYTES, 3),
        heard.over_noise_db,
        None if heard.unled is None else tuple(word.moved(start - begin) for word in heard.unled),
        heard.second,
        heard.levels_db,
    )
    at = piece.begin_s
    return Span(round(at + first, 2), round(at + last, 2), moved, flac(sound, cut_from=piece.parent))


def in_order(spans: Iterable[Sequence[Span]]) -> list[Span]:
    """Put the utterances of all pieces of a recording in order; what two pieces heard is taken once.

    Args:
        spans: The utterances of each piece, in the order of the pieces.
    """
    kept: list[Span] = []
    for span in (one for found in spans for one in found):
        if not kept or span.start_s >= kept[-1].end_s - 0.1:
            kept.append(span)
    return kept
