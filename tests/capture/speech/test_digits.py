"""Numbers heard again as digits one by one: where, and what comes of it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from capture.reading import Word
from capture.speech.audio import RATE
from capture.speech.choice import Choice
from capture.speech.digits import ALTERNATIVES, DigitsAgain, run_of_digits


def spoken(text: str) -> tuple[Word, ...]:
    return tuple(Word(word, 0.3 + at * 0.4, 0.6 + at * 0.4, 0.9) for at, word in enumerate(text.split()))


@pytest.mark.parametrize(
    ("heard", "run"),
    [
        ("seventy three", "seventy three"),  # "seven eight three" as a real person's came out
        ("three to k", "three to k"),
        ("five [unk] four", "five [unk] four"),
        ("seventy", "seventy"),  # alone it may have been two digits
        ("x_ray axis two point five megohms", "two point five"),
        ("eight megohms", ""),
        ("[unk] [unk] [unk] two", ""),
        ("to_ground to k", ""),
        ("confirm", ""),
        ("", ""),
    ],
)
def test_digits_are_looked_for_where_a_number_was_heard(heard: str, run: str) -> None:
    words = spoken(heard)
    found = run_of_digits(words)
    assert (" ".join(word.word for word in words[found[0] : found[1]]) if found else "") == run


class Hearer:
    """A recogniser that finds what it is told to find, and keeps what it was given."""

    def __init__(self, found: list[tuple[str, float]]) -> None:
        self.found, self.words, self.sound = found, (), b""

    def __call__(self, words: tuple[str, ...]) -> Any:
        self.words = words
        return self

    def AcceptWaveform(self, sound: bytes) -> bool:  # noqa: N802 - vosk's own name
        self.sound = sound
        return False

    def FinalResult(self) -> str:  # noqa: N802 - vosk's own name
        return json.dumps({"alternatives": [{"text": text, "confidence": score} for text, score in self.found]})


def test_the_words_around_stay_and_only_the_number_is_heard_again() -> None:
    hearer = Hearer([("two five", 90.0), ("two nine", 88.5), ("", 80.0)])
    best = Choice(5.0, spoken("x_ray axis twenty five megohms"))
    found = DigitsAgain(hearer).choices(bytes(2 * RATE * 3), 0.0, best)
    assert [(one.text, one.score) for one in found] == [
        ("x ray axis two five megohms", 0.0),
        ("x ray axis two nine megohms", -1.5),
    ]
    assert "point" not in hearer.words
    assert 0.7 < len(hearer.sound) / (2 * RATE) < 0.9  # 1.1 to 1.8 s, and a little around
    edges = [edge for word in found[0].words for edge in (word.start, word.end)]
    assert edges == sorted(edges)
    assert found[0].words[0] == best.words[0]


def test_a_whole_stretch_of_digits_is_heard_as_it_is() -> None:
    hearer = Hearer([("one point two", 3.0)] * (ALTERNATIVES + 4))
    found = DigitsAgain(hearer).choices(bytes(2 * RATE), 0.0, Choice(0.0, spoken("one point two")))
    assert len(hearer.sound) == 2 * RATE
    assert "point" in hearer.words
    assert len(found) == ALTERNATIVES


def test_nothing_is_heard_again_where_no_number_was() -> None:
    hearer = Hearer([("one two", 3.0)])
    assert DigitsAgain(hearer).choices(bytes(2 * RATE), 0.0, Choice(0.0, spoken("confirm"))) == []
    assert hearer.sound == b""
