"""One utterance on its way through the recogniser: words so far, end of speech, words with times and confidences."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from capture.errors import EngineError
from capture.language.vocabulary import UNKNOWN, plain_words
from capture.reading import Heard, Hypothesis, Word
from capture.speech.audio import RATE

ALTERNATIVES = 8
"""Other word sequences asked for, at most."""

LEAD_IN_S = 0.3
LEAD_OUT_S = 0.6
"""Quiet put before and after a clip, s: a word at the very edge is cut off by the features' context otherwise."""

_QUIET_LEVEL = 3  # amplitude of the quiet, of 32768: digital silence has no logarithm worth learning


class Stream:
    """One utterance being heard, chunk by chunk.

    Attributes:
        ended: Whether the recogniser found the end of the speech in what came so far.
    """

    def __init__(self, first: Any, others: Any = None, only: frozenset[str] | None = None) -> None:
        """Listen.

        Args:
            first: A recogniser that gives confidences.
            others: One that gives alternatives, if wanted.
            only: The phrases that may come out, if only a list of phrases is to be heard.
        """
        self._first = first
        self._others = others
        self._only = only
        self._results: list[dict[str, Any]] = []
        self._choices: list[list[Hypothesis]] = []
        self._samples = 0
        self._odd = b""
        self.ended = False
        self._feed(quiet(LEAD_IN_S))

    def accept(self, pcm: bytes) -> str:
        """Take the next samples.

        Args:
            pcm: 16 kHz mono samples, signed 16 bit; an odd byte is kept for the next call.

        Returns:
            The words heard so far, plain and unfinished.
        """
        pcm = self._odd + pcm
        self._odd = pcm[len(pcm) & ~1 :]
        pcm = pcm[: len(pcm) & ~1]
        self._samples += len(pcm) // 2
        self._feed(pcm)
        said = [result.get("text", "") for result in self._results]
        said.append(json.loads(self._first.PartialResult()).get("partial", ""))
        return plain(" ".join(said))

    def _feed(self, pcm: bytes) -> None:
        if not pcm:
            return
        try:
            if self._first.AcceptWaveform(pcm):
                self._take(json.loads(self._first.Result()))
            if self._others is not None and self._others.AcceptWaveform(pcm):
                self._choices.append(_hypotheses(json.loads(self._others.Result())))
        except Exception as error:
            raise EngineError("speech_failed", f"The speech engine failed ({error}). Say it again.") from error

    def _take(self, result: dict[str, Any]) -> None:
        if result.get("text"):
            self._results.append(result)
            self.ended = True

    def finish(self) -> Heard:
        """End the utterance and return what was heard; the stream cannot be used afterwards."""
        self._feed(quiet(LEAD_OUT_S))
        self._take(json.loads(self._first.FinalResult()))
        if self._others is not None:
            self._choices.append(_hypotheses(json.loads(self._others.FinalResult())))
        duration = self._samples / RATE
        words = [word for result in self._results for word in _words(result, duration)]
        text, alternatives = " ".join(word.word for word in words), _alternatives(self._choices)
        if self._only is not None:
            words = _one_of(self._only, words, alternatives, duration)
            text = " ".join(word.word for word in words)
            alternatives = tuple(choice for choice in alternatives if choice.text in self._only)
        return Heard(text, tuple(words), alternatives, round(duration, 3))


def quiet(seconds: float) -> bytes:
    """Very low noise, the same every time."""
    noise = np.random.default_rng(1).integers(-_QUIET_LEVEL, _QUIET_LEVEL + 1, int(seconds * RATE))
    return noise.astype("<i2").tobytes()


def plain(text: str) -> str:
    """Recogniser words as plain words."""
    return " ".join(part for word in text.split() for part in plain_words(word))


def _words(result: dict[str, Any], duration: float) -> Iterator[Word]:
    """The words of a result as plain words; a joined entry's time is shared out by the letters of its parts."""
    for entry in result.get("result", ()):
        parts = plain_words(entry["word"])
        start = min(max(entry["start"] - LEAD_IN_S, 0.0), duration)
        end = min(max(entry["end"] - LEAD_IN_S, start), duration)
        letters, before = sum(map(len, parts)), 0
        for part in parts:
            begin = start + (end - start) * before / letters
            before += len(part)
            finish = start + (end - start) * before / letters
            yield Word(part, round(begin, 3), round(finish, 3), round(min(float(entry["conf"]), 1.0), 4))


def _one_of(
    only: frozenset[str], words: Sequence[Word], alternatives: Sequence[Hypothesis], duration: float
) -> list[Word]:
    """The words if they are one of the phrases wanted, else the best alternative that is, else unknown speech.

    The engine's grammar tells which word may follow which, so it can string phrases together that nobody listed. Words
    of an alternative have no confidence of their own: each gets the share of belief on that alternative.
    """
    text = " ".join(word.word for word in words)
    if text in only or not text:
        return list(words)
    start, end = (words[0].start, words[-1].end) if words else (0.0, duration)
    chosen = next((choice for choice in alternatives if choice.text in only), None)
    if chosen is None:
        return [Word(UNKNOWN, start, end, 0.0)]
    best = alternatives[0].score
    total = sum(math.exp(choice.score - best) for choice in alternatives)
    share = round(math.exp(chosen.score - best) / total, 4)
    parts = chosen.text.split()
    step = (end - start) / len(parts)
    return [
        Word(part, round(start + at * step, 3), round(start + (at + 1) * step, 3), share)
        for at, part in enumerate(parts)
    ]


def _hypotheses(result: dict[str, Any]) -> list[Hypothesis]:
    return [
        Hypothesis(plain(choice.get("text", "")), float(choice.get("confidence", 0.0)))
        for choice in result.get("alternatives", ())
    ]


def _alternatives(segments: Sequence[Sequence[Hypothesis]]) -> tuple[Hypothesis, ...]:
    """Word sequences of the whole clip: the best of all stretches, with one stretch at a time replaced."""
    spoken = [segment for segment in segments if any(choice.text for choice in segment)]
    if not spoken:
        return ()
    best = [segment[0] for segment in spoken]
    made = [Hypothesis(" ".join(choice.text for choice in best), sum(choice.score for choice in best))]
    for at, segment in enumerate(spoken):
        for choice in segment[1:]:
            line = [*best[:at], choice, *best[at + 1 :]]
            made.append(Hypothesis(" ".join(part.text for part in line if part.text), sum(part.score for part in line)))
    ranked = sorted(made, key=lambda hypothesis: -hypothesis.score)
    return tuple({hypothesis.text: hypothesis for hypothesis in reversed(ranked)}.values())[::-1][:ALTERNATIVES]
