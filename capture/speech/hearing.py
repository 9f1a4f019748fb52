"""One utterance on its way through the recogniser: words so far, end of speech, words with times and confidences."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from capture.language.vocabulary import UNKNOWN, plain_words
from capture.reading import Heard, Hypothesis, Judged, OwnTranscript, Word
from capture.speech.audio import RATE
from capture.speech.choice import Choice, plain
from capture.speech.digits import DigitsAgain
from capture.speech.errors import SpeechEngineFailed
from capture.speech.level import LevelMeter
from capture.speech.second_opinion.judge import Judge

ALTERNATIVES = 12
"""Word sequences asked for, at most."""

LEAD_IN_S = 0.3
LEAD_OUT_S = 0.6
"""Quiet put before and after a clip, s: a word at the very edge is cut off by the features' context otherwise."""

_QUIET_LEVEL = 3  # amplitude of the quiet, of 32768: digital silence has no logarithm worth learning
_OVERLAP_S = 0.15  # how far apart two recognisers may put the middle of one word

_BYTES = 2 * RATE  # a second
_PIECE = _BYTES // 5  # as much as the engine itself decodes at a time
_IDLE_S = 5.0  # the engine's own limit for a stretch without words
_LONG_S = 10.0  # longer than a reading is spoken; from here on a pause inside a clip ends a stretch
_LONGEST_S = 30.0  # talk without a pause is cut: what a stretch costs grows with the square of its length
_ONSET = int(0.3 * RATE)  # samples in which a beginning word may lie that the engine does not show yet
_KEPT = int(0.6 * RATE) * 2  # bytes of a stretch without words that may not be decoded yet
_AROUND_S = 1.0  # quiet before and after the words that the second engine is given; more would only cost time


@dataclass(frozen=True)
class Segment:
    """One stretch of speech.

    Attributes:
        spoken: The first engine's choice, with times and confidences.
        choices: All choices, best first by everything that is known.
        own: What the second engine would write; None where none was asked.
    """

    spoken: Choice
    choices: tuple[Choice, ...]
    own: OwnTranscript | None = None


class RecogniserStream:
    """One utterance being heard, chunk by chunk.

    Decoding costs more than its length's share in a stretch without an end: while nothing certain is said, the engine
    keeps every path open and goes back over all of them again and again. So stretches are ended (`_ends`): one without
    words is let go, and a long one with words is taken at the next pause. The second recogniser, which decodes the same
    sound for the alternatives, is fed only where the first finds words or where the utterance ends.

    Attributes:
        ended: Whether the recogniser found the end of the speech in what came so far.
    """

    def __init__(
        self,
        first: Any,
        others: Any = None,
        only: frozenset[str] | None = None,
        judge: Judge | None = None,
        *,
        led: bool = False,
        digits: DigitsAgain | None = None,
    ) -> None:
        """Begin to listen.

        Args:
            first: A recogniser that gives confidences.
            others: One that gives alternatives, if wanted.
            only: The phrases that may come out, if only a list of phrases is to be heard.
            judge: Gives a second opinion on each stretch with words once it ends, if wanted.
            led: The one that gives alternatives is led by what was asked, the first is not.
            digits: Hears numbers again as digits one by one, for the judge, if wanted.
        """
        self._first = first
        self._unled: list[Word] | None = [] if led else None
        self._others = others
        self._only = only
        self._judge = judge
        self._digits = digits
        self._segments: list[Segment] = []
        self._text: list[str] = []
        self._samples = 0
        self._level = LevelMeter()
        self._odd = b""
        self._behind = bytearray()  # what `others` has not been given yet
        self._skipped = 0  # bytes that it will never be given, since nothing was said in them
        self._stretch = 0  # bytes since the stretch began
        self._sound = bytearray()  # what the judge may need of it
        self._fed = 0  # bytes given to the first recogniser
        self._partial = ""
        self._spoken = False
        self.ended = False
        self._feed(quiet(LEAD_IN_S))

    def accept(self, pcm: bytes) -> str:
        """Take the next samples.

        Args:
            pcm: 16 kHz mono samples, signed 16 bit; an odd byte is kept for the next call.

        Returns:
            The words heard so far, plain and unfinished.

        Raises:
            EngineError: The engine failed.
        """
        pcm = self._odd + pcm
        self._odd = pcm[len(pcm) & ~1 :]  # half a sample would shift all that follow by a byte, into noise
        pcm = pcm[: len(pcm) & ~1]
        self._samples += len(pcm) // 2
        self._level.add(pcm)
        self._feed(pcm)
        return plain(" ".join([*self._text, self._partial]))

    def _feed(self, pcm: bytes) -> None:
        """Give the samples to the recognisers, and take every stretch that ends in them."""
        try:
            for at in range(0, len(pcm), _PIECE):
                piece = pcm[at : at + _PIECE]
                pause = bool(self._first.AcceptWaveform(piece))
                self._behind += piece
                self._stretch += len(piece)
                self._fed += len(piece)
                if self._judge is not None:
                    self._sound += piece
                self._partial = json.loads(self._first.PartialResult()).get("partial", "")
                self._spoken = self._spoken or bool(self._partial)
                if self._ends(pause, last=at + _PIECE >= len(pcm)):
                    self._end_stretch()
            if self._spoken:
                self._catch_up()
        except Exception as error:
            raise SpeechEngineFailed(cause=str(error)) from error

    def _ends(self, pause: bool, *, last: bool) -> bool:
        """Tell whether the stretch ends here.

        Args:
            pause: The engine found a pause after words, or a long one without.
            last: These are the last samples of what came at once. Inside a clip a pause parts only what is long, since
                the words beyond it help to tell those before.
        """
        seconds = self._stretch / _BYTES
        if seconds >= _LONGEST_S:
            return True
        if not self._spoken:
            return pause and (not self._rising() or seconds >= 2 * _IDLE_S)
        return pause and (last or seconds >= _LONG_S)

    def _rising(self) -> bool:
        """Tell whether the last samples are louder than the stretch before: a word may just have begun."""
        samples = np.frombuffer(bytes(self._behind), "<i2").astype(np.float32)
        recent = samples[-_ONSET:]
        return float(np.abs(recent).max(initial=0)) > 2 * float(np.abs(samples[:-_ONSET]).max(initial=0)) + _QUIET_LEVEL

    def _end_stretch(self) -> None:
        """Take the words of the stretch that ends; where nothing was said, the second recogniser never hears it."""
        several = None
        if self._spoken:
            self._catch_up()
            several = None if self._others is None else self._others.Result()
        else:
            # Of the last samples the engine has not decoded all: they belong to the next stretch.
            gone = max(0, len(self._behind) - _KEPT)
            del self._behind[:gone]
            self._skipped += gone
        self._take(self._first.Result(), several)
        del self._sound[: max(0, len(self._sound) - (0 if self._spoken else _KEPT))]
        self._stretch, self._partial, self._spoken = 0, "", False

    def _catch_up(self) -> None:
        """Give the second recogniser what it has not heard yet."""
        if self._others is not None and self._behind:
            self._others.AcceptWaveform(bytes(self._behind))
        self._behind.clear()

    def _take(self, sure: str | None, several: str | None) -> None:
        """Keep a finished stretch: the choices, best first, with the confidences of the best."""
        words = [] if sure is None else list(_timed(json.loads(sure)))
        if self._unled is not None:
            self._unled += words
        entries = [] if several is None else json.loads(several).get("alternatives", ())
        choices = [_choice(entry, self._skipped / _BYTES) for entry in entries]
        if not choices and words:
            choices = [Choice(0.0, tuple(words))]
        if any(choice.words for choice in choices):
            best = Choice(choices[0].score, tuple(_with_confidence(choices, words)))
            self._segments.append(self._judged([best, *choices[1:]]))
            self._text.append(best.text)
            self.ended = True

    def _judged(self, choices: list[Choice]) -> Segment:
        """Ask for the second opinion, where there is one to ask."""
        spoken, begin = choices[0], self._fed - len(self._sound)
        if self._judge is None or not spoken.words:
            return Segment(spoken, tuple(choices))
        first = 2 * int((spoken.words[0].start - _AROUND_S) * RATE) - begin
        last = 2 * int((spoken.words[-1].end + _AROUND_S) * RATE) - begin
        sound = bytes(self._sound[max(0, first) : max(0, last)])
        apart = self._digits.choices(sound, (begin + max(0, first)) / _BYTES, spoken) if self._digits else []
        judged, own = self._judge.judge(sound, choices, apart)
        return Segment(spoken, tuple(judged), own)

    def finish(self) -> Heard:
        """End the utterance and return what was heard; the stream cannot be used afterwards."""
        self._feed(quiet(LEAD_OUT_S))
        self._catch_up()
        self._take(self._first.FinalResult(), None if self._others is None else self._others.FinalResult())
        duration = self._samples / RATE
        alternatives = _alternatives(self._segments)
        words = [word for segment in self._segments for word in _plain_times(segment.spoken.words, duration)]
        if self._only is not None:
            words = _one_of(self._only, words, alternatives, duration)
            alternatives = tuple(choice for choice in alternatives if choice.text in self._only)
        text = " ".join(word.word for word in words)
        over_noise = round(self._level.over_noise(), 1)
        unled = None if self._unled is None else tuple(_plain_times(self._unled, duration))
        levels = tuple(round(self._level.between(word.start, word.end), 1) for word in words)
        own = _own(self._segments)
        return Heard(text, tuple(words), alternatives, round(duration, 3), over_noise, unled, own, levels)


def quiet(seconds: float) -> bytes:
    """Make very low noise, signed 16 bit, the same every time."""
    noise = np.random.default_rng(1).integers(-_QUIET_LEVEL, _QUIET_LEVEL + 1, int(seconds * RATE))
    return noise.astype("<i2").tobytes()


def _timed(result: dict[str, Any]) -> Iterator[Word]:
    """Yield the words of one result in the engine's spelling; those of an alternative have no confidence."""
    for entry in result.get("result", ()):
        yield Word(entry["word"], entry["start"], entry["end"], min(float(entry.get("conf", 0.0)), 1.0))


def _choice(entry: dict[str, Any], skipped_s: float) -> Choice:
    words = (replace(word, start=word.start + skipped_s, end=word.end + skipped_s) for word in _timed(entry))
    return Choice(float(entry.get("confidence", 0.0)), tuple(words))


def _with_confidence(choices: Sequence[Choice], sure: Sequence[Word]) -> Iterator[Word]:
    """Yield the best choice's words, each with the confidence that the other recogniser gave it there.

    That recogniser may prefer another word; then the confidence is the posterior of all choices that have the word
    there.
    """
    shares = posteriors([choice.score for choice in choices])
    for word in choices[0].words:
        found = [other.confidence for other in sure if _same_place(word, other)]
        held = sum(
            share
            for share, choice in zip(shares, choices, strict=True)
            if any(_same_place(word, other) for other in choice.words)
        )
        yield Word(word.word, word.start, word.end, max(found, default=held))


def _same_place(one: Word, other: Word) -> bool:
    return one.word == other.word and abs(one.start + one.end - other.start - other.end) / 2 <= _OVERLAP_S


def posteriors(scores: Sequence[float]) -> list[float]:
    """Turn log likelihoods into posterior probabilities that add up to 1."""
    best = max(scores)  # taken out, or exp() of a large score would overflow
    weights = [math.exp(score - best) for score in scores]
    return [weight / sum(weights) for weight in weights]


def _plain_times(words: Sequence[Word], duration: float) -> Iterator[Word]:
    """Yield plain words; a joined entry's time is shared out by the letters of its parts."""
    for word in words:
        parts = plain_words(word.word)
        # Times count from the clip's own first sample, not from the quiet put before it.
        start = min(max(word.start - LEAD_IN_S, 0.0), duration)
        end = min(max(word.end - LEAD_IN_S, start), duration)
        letters, before = sum(map(len, parts)), 0
        for part in parts:
            begin = start + (end - start) * before / letters
            before += len(part)
            finish = start + (end - start) * before / letters
            yield Word(part, round(begin, 3), round(finish, 3), round(word.confidence, 4))


def _one_of(
    only: frozenset[str], words: Sequence[Word], alternatives: Sequence[Hypothesis], duration: float
) -> list[Word]:
    """Keep the words if they are a phrase wanted; else take the best alternative that is, else unknown speech.

    The engine's grammar tells which word may follow which, so it can string phrases together that nobody listed. Words
    of an alternative have no confidence of their own: each gets the posterior of that alternative.
    """
    text = " ".join(word.word for word in words)
    if text in only or not text:
        return list(words)
    start, end = (words[0].start, words[-1].end) if words else (0.0, duration)
    shares = posteriors([choice.score for choice in alternatives]) if alternatives else []
    listed = ((choice, share) for choice, share in zip(alternatives, shares, strict=True) if choice.text in only)
    chosen, share = next(listed, (Hypothesis(UNKNOWN, 0.0), 0.0))
    parts = chosen.text.split()
    step = (end - start) / max(1, len(parts))
    return [
        Word(part, round(start + at * step, 3), round(start + (at + 1) * step, 3), round(share, 4))
        for at, part in enumerate(parts)
    ]


def _own(segments: Sequence[Segment]) -> OwnTranscript | None:
    """Put the second engine's transcripts of all stretches together; None unless it was asked about each of them."""
    found = [segment.own for segment in segments if segment.own is not None]
    if not found or len(found) < len(segments):
        return None
    log_p, tokens = sum(own.log_p for own in found), sum(own.tokens for own in found)
    plainly = sum(own.log_p if own.plain_log_p is None else own.plain_log_p for own in found)
    return OwnTranscript(found[0].engine, " ".join(own.text for own in found), log_p, tokens, plainly)


def _judged(line: Sequence[Choice]) -> Judged | None:
    """Add up how each engine judges the stretches of a clip; None unless both were asked about each of them."""
    found = [choice.judged for choice in line if choice.judged is not None]
    if not found or len(found) < len(line):
        return None
    first, second = sum(one.first for one in found), sum(one.second for one in found)
    return Judged(first, second, sum(one.added for one in found), sum(one.apart for one in found))


def _alternatives(segments: Sequence[Segment]) -> tuple[Hypothesis, ...]:
    """List word sequences of the whole clip: the best of all segments, with one segment at a time replaced."""
    if not segments:
        return ()
    # All combinations would grow as a power of the segments; two segments misheard at once are rare.
    best = [segment.choices[0] for segment in segments]
    lines = [best]
    for at, segment in enumerate(segments):
        lines += [[*best[:at], choice, *best[at + 1 :]] for choice in segment.choices[1:]]
    made: dict[str, Hypothesis] = {}
    for line in sorted(lines, key=lambda line: -sum(choice.score for choice in line)):
        text = " ".join(choice.text for choice in line if choice.words)
        made.setdefault(text, Hypothesis(text, sum(choice.score for choice in line), _judged(line)))
    return tuple(made.values())[:ALTERNATIVES]
