"""Hearing led by what was asked: it helps what was said, and never makes a reading or a command of its own."""

from __future__ import annotations

import json

import pytest

from capture.expectation import Asked, Expectation
from capture.reading import Command, Context, Doubt, Heard, Hypothesis, Word
from capture.speech.audio import load_clip
from capture.speech.candidates import candidates
from capture.speech.grammar import answer_lines
from capture.speech.recogniser import SpeechModel
from capture.speech.stream import Listener
from capture.speech.understand import best_meaning, hear_clip, understand
from grading.terms.quantity import QuantityKind
from tests.capture.speech.recordings import CLIPS

TRUTH = json.loads((CLIPS.parent / "truth.json").read_text())["clips"]


def words(text: str) -> tuple[Word, ...]:
    said = text.split()
    return tuple(Word(word, 0.3 * at, 0.3 * at + 0.28, 0.99) for at, word in enumerate(said))


def heard(text: str, unled: str | None, *others: tuple[str, float]) -> Heard:
    choices = (Hypothesis(text, 0.0), *(Hypothesis(*other) for other in others))
    return Heard(text, words(text), choices, 3.0, 40.0, None if unled is None else words(unled))


def asked(what: Asked) -> Context:
    return Context(kind=QuantityKind.INSULATION_RESISTANCE, expects=Expectation(what))


def test_a_reading_that_only_the_question_made_likely_is_asked_about_with_both_choices() -> None:
    found = understand(heard("five meg", "nine meg"), asked(Asked.VALUE))
    assert [reading.quantity.digits for reading in found.readings] == ["5"]
    assert [other.quantity.digits for other in found.alternatives] == ["9"]
    assert Doubt.LOW_CONFIDENCE in found.doubts


def test_a_reading_that_was_no_reading_without_the_question_is_asked_about() -> None:
    assert Doubt.LOW_CONFIDENCE in understand(heard("five meg", "[unk]"), asked(Asked.VALUE)).doubts
    assert Doubt.LOW_CONFIDENCE in understand(heard("five meg", ""), asked(Asked.VALUE)).doubts


@pytest.mark.parametrize("unled", ["", "[unk]", "negative", "five meg"])
def test_a_command_that_only_the_question_made_likely_is_not_obeyed(unled: str) -> None:
    found = understand(heard("confirm", unled), asked(Asked.CONFIRMATION))
    assert found.command is None
    assert Doubt.LOW_CONFIDENCE in found.doubts


def test_a_place_that_only_the_question_made_likely_changes_nothing() -> None:
    before = asked(Asked.PLACE)
    assert understand(heard("yankee axis", "x axis"), before).context == before


@pytest.mark.parametrize("unled", ["five meg", "uh five megohms", None])
def test_what_means_the_same_without_the_question_is_not_asked_about(unled: str | None) -> None:
    assert understand(heard("five meg", unled), asked(Asked.VALUE)).doubts == ()
    assert understand(heard("confirm", "confirmed"), asked(Asked.CONFIRMATION)).command is Command.CONFIRM


def test_what_an_answer_may_leave_out_is_no_fault_of_the_hearing() -> None:
    """In "digit by digit" the unit is that of the value read back; without a question a missing one costs."""
    choices = heard("three four seven", None, ("three four seven k", -1.0))
    assert best_meaning(choices, asked(Asked.VALUE))[0].heard.text == "three four seven"
    assert best_meaning(choices, asked(Asked.NOTHING))[0].heard.text == "three four seven k"
    alone = heard("meg", None)
    assert [one.score for one in candidates(alone, understand(alone, asked(Asked.UNIT)), asked(Asked.UNIT))] == [0.0]


def test_of_two_that_sound_alike_the_number_that_instruments_show_is_taken() -> None:
    choices = heard("three four seven zero zero gig", None, ("three point four seven gig", -0.5))
    utterance, found = best_meaning(choices, asked(Asked.NOTHING))
    assert [reading.quantity.digits for reading in utterance.readings] == ["3.47"]
    assert [rival.quantity.digits for rival in found.rivals] == ["34700"]


def test_a_number_that_no_instrument_shows_stays_where_it_sounds_much_better() -> None:
    choices = heard("three four seven zero zero gig", None, ("three point four seven gig", -6.0))
    utterance, _ = best_meaning(choices, asked(Asked.NOTHING))
    assert [reading.quantity.digits for reading in utterance.readings] == ["34700"]


def test_what_leads_is_in_words_that_the_model_knows(speech: SpeechModel) -> None:
    known = {word for line in speech.grammar.phrases for word in line.split()}
    for what in Asked:
        lines = answer_lines(what, lambda word: word in known)
        assert bool(lines) is (what is not Asked.NOTHING)
        assert {word for line in lines for word in line.split()} <= known


@pytest.mark.parametrize("what", [Asked.CONFIRMATION, Asked.PLACE, Asked.VOLTAGE])
def test_a_value_said_where_something_else_was_asked_is_heard_all_the_same(what: Asked, speech: SpeechModel) -> None:
    """The whole vocabulary stays the background: real clips of the demo, heard under a question they do not answer."""
    for name in ("c02", "c11"):
        truth = next(one["means"] for one in TRUTH if name in one["file"])
        found = hear_clip((CLIPS / f"{name}.flac").read_bytes(), Context(expects=Expectation(what)), speech)
        [reading] = found.readings
        assert (reading.quantity.digits, reading.quantity.unit) == (truth["value"], truth["unit"])
        assert found.doubts == hear_clip((CLIPS / f"{name}.flac").read_bytes(), Context(), speech).doubts


def test_live_sound_is_led_too(speech: SpeechModel) -> None:
    clip = load_clip((CLIPS / "c03.flac").read_bytes())
    listener = Listener(speech, Asked.CONFIRMATION)
    listener.accept(clip.pcm)
    utterance = listener.finish(Context(expects=Expectation(Asked.CONFIRMATION)))
    assert utterance.command is Command.CONFIRM
    assert utterance.heard.unled is not None
    assert [word.word for word in utterance.heard.unled] == ["confirm"]
    assert hear_clip((CLIPS / "c03.flac").read_bytes(), Context(), speech).heard.unled is None
