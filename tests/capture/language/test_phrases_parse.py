"""What the phrase generator says, the parser understands; the generator never asks the parser for its truth."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from capture.expectation import Asked
from capture.language.answers import answers
from capture.language.parse import parse
from capture.language.phrases import noted_phrases, phrases, word_phrases
from capture.language.vocabulary import WORDS
from capture.reading import Command, Context, Doubt, Reading, Utterance
from grading.terms.quantity import Qualifier, QuantityKind

SOUND_ALIKE = set("BCDEGPTVZ")  # domain practice, TV-S44
KINDS_BY_UNIT = {QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY, QuantityKind.VOLTAGE, QuantityKind.CURRENT}


def bare(reading: Reading) -> Reading:
    """Leave out what the words alone do not say: the kind, and a unit that follows from it."""
    quantity = reading.quantity
    if quantity.digits is None:
        quantity = replace(quantity, unit=None)
    return replace(reading, kind=None, quantity=quantity)


def agrees(utterance: Utterance, meaning: Reading | Command | Context | None) -> bool:
    if isinstance(meaning, Reading):
        return bool(utterance.readings) and all(bare(found) == bare(meaning) for found in utterance.readings)
    if isinstance(meaning, Command):
        return (utterance.command is meaning and not utterance.readings) or meaning in (Command.SAME, Command.CORRECT)
    if isinstance(meaning, Context):
        held = replace(utterance.context, kind=None)
        return held == meaning and not utterance.readings and utterance.command is None
    return not utterance.readings and utterance.command is None


@settings(deadline=None, max_examples=200)
@given(seed=st.integers(0, 2**32))
def test_every_phrase_is_understood_as_meant(seed: int) -> None:
    for phrase in phrases(seed, 20):
        utterance = parse(" ".join(phrase.words))
        assert agrees(utterance, phrase.meaning), (phrase, utterance)


@settings(deadline=None, max_examples=100)
@given(seed=st.integers(0, 2**32))
def test_a_phrase_of_plain_words_means_the_same(seed: int) -> None:
    for phrase in phrases(seed, 10):
        assert parse(phrase.plain).readings == parse(" ".join(phrase.words)).readings


@settings(deadline=None, max_examples=400)
@given(words=st.lists(st.sampled_from([*WORDS, "[unk]", ",", "banana"]), max_size=12))
def test_any_words_give_an_utterance_and_an_unknown_word_in_a_value_a_doubt(words: list[str]) -> None:
    utterance = parse(" ".join(words))
    for reading in utterance.readings:
        if reading.quantity.digits is not None:
            assert reading.quantity.value is not None
    if utterance.command is Command.CONFIRM:
        assert not utterance.readings
        assert "[unk]" not in words
        assert "banana" not in words


@settings(deadline=None, max_examples=100)
@given(seed=st.integers(0, 2**32), at=st.integers(0, 30))
def test_an_unknown_word_beside_a_number_is_never_passed_over(seed: int, at: int) -> None:
    phrase = next(p for p in phrases(seed, 200) if isinstance(p.meaning, Reading) and p.meaning.quantity.digits)
    words = [part for word in phrase.words for part in word.split("_")]
    place = at % len(words)
    utterance = parse(" ".join([*words[:place], "[unk]", *words[place:]]))
    # `phrase` was picked for having a reading as its meaning; the type of a phrase alone does not say so.
    same = len(utterance.readings) == 1 and bare(utterance.readings[0]) == bare(phrase.meaning)  # type: ignore[arg-type]
    assert same or utterance.doubts or not utterance.readings or utterance.superseded, (words, place, utterance)


def test_every_word_alone_is_heard_without_an_error() -> None:
    for phrase in word_phrases():
        parse(phrase.words[0])


def test_generator_repeats_itself_for_a_seed() -> None:
    assert phrases(7, 50) == phrases(7, 50)
    assert phrases(7, 50) != phrases(8, 50)


def test_generator_uses_nearly_every_word() -> None:
    used = {word for phrase in phrases(3, 60_000) for word in phrase.words}
    used |= {word for phrase in noted_phrases(3, 500) for word in phrase.words}
    used |= {word for asked in Asked for phrase in answers(asked) for word in phrase.words}
    assert set(WORDS) - used <= {"not", "an_ohm", "a_megohm", "m", "degree"}


def test_circumstances_are_understood_with_a_reading_and_alone() -> None:
    """The generator composes the meaning along with the words, so it is the truth here."""
    for phrase in noted_phrases(11, 2_000):
        understood = parse(" ".join(phrase.words))
        assert understood.beside == phrase.beside, phrase
        if isinstance(phrase.meaning, Reading):
            assert understood.readings[0].quantity.digits == phrase.meaning.quantity.digits, phrase
        else:
            assert understood.readings == (), phrase
            assert understood.command is None, phrase


def test_talk_that_mentions_a_circumstance_notes_nothing() -> None:
    for talk in ("[unk] after_cleaning [unk]", "[unk] low_battery", "position [unk]", "position nine hundred"):
        assert not parse(talk).beside.anything, talk


def test_a_command_beside_a_circumstance_is_asked_about() -> None:
    assert parse("confirm after_cleaning").command is None
    assert Doubt.CONFLICT in parse("confirm after_cleaning").doubts
    assert parse("correction not after_cleaning").command is Command.CORRECT
    assert parse("scratch_that after_cleaning").command is Command.CORRECT


def test_letters_that_sound_alike_are_asked_about() -> None:
    for letter in sorted(SOUND_ALIKE - {"G"}):
        assert Doubt.AXIS_MISSING in parse(f"{letter.lower()} axis").doubts
    for letter in "XYAW":
        assert parse(f"{letter.lower()}_axis").doubts == ()


def test_over_range_and_short_are_never_numbers() -> None:
    for text in ("o_l", "over_limit", "wide_open", "dead_short", "infinity"):
        reading = parse(text, Context(kind=QuantityKind.INSULATION_RESISTANCE)).readings[0]
        assert reading.quantity.digits is None
        assert reading.quantity.qualifier in (Qualifier.OPEN, Qualifier.SHORT)
