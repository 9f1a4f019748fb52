"""The phrases that answer each question say what they are said to mean, in words that can be heard."""

from __future__ import annotations

import pytest

from capture.expectation import Asked
from capture.language.answers import answers
from capture.language.parse import parse
from capture.language.vocabulary import ENTRIES
from capture.reading import Command, Context, Reading

QUESTIONS = [asked for asked in Asked if asked is not Asked.NOTHING]


def test_where_nothing_was_asked_nothing_leads() -> None:
    assert answers(Asked.NOTHING) == ()


@pytest.mark.parametrize("asked", QUESTIONS)
def test_answers_mean_what_they_were_made_to_mean(asked: Asked) -> None:
    seen = set()
    for phrase in dict.fromkeys(answers(asked)[:600]):
        assert set(phrase.words) <= set(ENTRIES), phrase
        utterance = parse(" ".join(phrase.words), Context())
        if isinstance(phrase.meaning, Command):
            # With no value after it "scratch that" rejects.
            meant = Command.REJECT if phrase.words == ("scratch_that",) else phrase.meaning
            assert utterance.command is meant, phrase
        elif isinstance(phrase.meaning, Reading) and phrase.meaning.quantity.digits is not None:
            [reading] = utterance.readings
            assert reading.quantity == phrase.meaning.quantity, phrase
        seen.add(type(phrase.meaning))
    assert len(seen) > 1, "people answer in more than one way"


def test_they_are_the_same_at_every_start() -> None:
    before = answers(Asked.UNIT)
    answers.cache_clear()
    assert answers(Asked.UNIT) == before
