"""The same sound heard again where a number was said, as digits one by one.

Among all words of the vocabulary a row of digits is unlikely, so "seven eight" comes out as "seventy" and "two" as
"to". With only the digits allowed the first engine finds them; whether they were said, the second one judges.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from capture.language.numbers import DIGITS
from capture.language.say import ONES
from capture.language.vocabulary import ENTRIES, UNKNOWN, WordClass
from capture.reading import Word
from capture.speech.audio import RATE
from capture.speech.choice import Choice

ALTERNATIVES = 5
"""Rows of digits that are judged, best first."""

_NUMBERS = frozenset({WordClass.DIGIT, WordClass.TEEN, WordClass.TENS, WordClass.POINT})
_MAY_BE_DIGITS = frozenset({"to", "k", UNKNOWN})
"""What real people's "two" and "eight" were heard as among all words; fillers are taken for digits lost too."""

_MOST_UNKNOWN = 2  # unknown words for each number word: digits are lost so in noise, talk has more
_LEAST_WORDS = 2  # one number word beside others is heard as well among all words
_AROUND = int(0.06 * RATE) * 2  # bytes of sound before and after a number amid other words


def run_of_digits(words: tuple[Word, ...]) -> tuple[int, int] | None:
    """Find where digits may have been said one by one.

    Args:
        words: The words heard, in the engine's spelling.

    Returns:
        Index of the first word and after the last; None where no number is, or only one word of it amid others.
    """
    runs: list[tuple[int, int]] = []
    begin = None
    for at in range(len(words) + 1):
        inside = at < len(words) and _may_be_digit(words[at])
        if inside and begin is None:
            begin = at
        elif not inside and begin is not None:
            runs.append((begin, at))
            begin = None
    whole = (0, len(words))
    kept = [run for run in runs if run == whole or run[1] - run[0] >= _LEAST_WORDS]
    kept = [(first, end) for first, end in kept if _holds_number(words[first:end])]
    return max(kept, key=lambda run: run[1] - run[0], default=None)


def _may_be_digit(word: Word) -> bool:
    return _number(word) or word.word in _MAY_BE_DIGITS or _class(word) is WordClass.FILLER


def _holds_number(words: tuple[Word, ...]) -> bool:
    numbers, unknown = sum(map(_number, words)), sum(word.word == UNKNOWN for word in words)
    return numbers > 0 and unknown <= _MOST_UNKNOWN * numbers


def _class(word: Word) -> WordClass | None:
    return ENTRIES[word.word].word_class if word.word in ENTRIES else None


def _number(word: Word) -> bool:
    return _class(word) in _NUMBERS


class DigitsAgain:
    """Hears stretches again as digits."""

    def __init__(self, recogniser: Callable[[tuple[str, ...]], Any]) -> None:
        """Keep what hears.

        Args:
            recogniser: Makes a recogniser that gives alternatives, any sequence of the given words.
        """
        self._recogniser = recogniser

    def choices(self, sound: bytes, begin_s: float, best: Choice) -> list[Choice]:
        """Give what else the best choice may be with its number as digits.

        Args:
            sound: The stretch, 16 kHz mono, signed 16 bit.
            begin_s: When it began by the clock of the words' times, s.
            best: What was heard.

        Returns:
            Choices, best first, scored against the best of them (0 and below); empty where no digits can be.
        """
        found = run_of_digits(best.words)
        if found is None:
            return []
        first, end = found
        before, number, after = best.words[:first], best.words[first:end], best.words[end:]
        starts = 2 * int((number[0].start - begin_s) * RATE) - _AROUND if before else 0
        stops = 2 * int((number[-1].end - begin_s) * RATE) + _AROUND if after else len(sound)
        pointed = any(_class(word) is WordClass.POINT for word in number)
        told = self._hear(sound[max(0, starts) : max(0, stops)], (*ONES, *(("point",) if pointed else ())))
        top = told[0][0] if told else 0.0
        span = number[-1].end - number[0].start
        return [
            replace(best, score=score - top, words=(*before, *_spread(digits, number[0].start, span), *after))
            for score, digits in told
        ]

    def _hear(self, sound: bytes, words: tuple[str, ...]) -> list[tuple[float, list[str]]]:
        recogniser = self._recogniser(words)
        recogniser.AcceptWaveform(sound)
        entries = json.loads(recogniser.FinalResult()).get("alternatives", ())
        rows = [(float(entry["confidence"]), entry["text"].split()) for entry in entries]
        return [(score, said) for score, said in rows if any(word in DIGITS for word in said)][:ALTERNATIVES]


def _spread(said: list[str], start: float, span: float) -> list[Word]:
    step = span / len(said)
    return [Word(word, start + at * step, start + (at + 1) * step, 0.0) for at, word in enumerate(said)]
