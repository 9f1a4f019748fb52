"""The runtime grammar: words that a model lacks are said otherwise or named, never passed over."""

from __future__ import annotations

from capture.language.vocabulary import UNKNOWN, WORDS
from capture.speech.grammar import phrase_grammar, sayings, vocabulary_grammar, word_grammar


def test_a_model_that_knows_every_word_misses_nothing() -> None:
    grammar = vocabulary_grammar(set(WORDS).__contains__)
    assert grammar.missing == ()
    spoken = {word for line in grammar.phrases for word in line.split()}
    assert spoken == set(WORDS) | {UNKNOWN}
    assert UNKNOWN in grammar.phrases
    assert f"{UNKNOWN} {UNKNOWN}" in grammar.phrases


def test_joined_words_are_said_apart_to_a_model_without_them() -> None:
    knows = {"to", "ground", "kilo", "ohm", "a", "hundred"}.__contains__
    assert sayings("to_ground", knows) == ("to", "ground")
    assert sayings("kilohm", knows) == ("kilo", "ohm")
    assert sayings("a_hundred", knows) == ("a", "hundred")
    assert sayings("megohm", knows) is None


def test_what_a_model_cannot_say_is_missing_and_stays_out_of_the_grammar() -> None:
    knows = (set(WORDS) - {"celsius", "seventy"}).__contains__
    grammar = vocabulary_grammar(knows)
    assert set(grammar.missing) == {"celsius", "seventy"}
    assert not {"celsius", "seventy"} & {word for line in grammar.phrases for word in line.split()}


def test_phrases_from_outside_are_heard_joined_and_apart() -> None:
    grammar = phrase_grammar(["Lead two to ground, five meg", "banana"], {*WORDS, "lead", "ground"}.__contains__)
    assert grammar.missing == ("banana",)
    assert "lead two to ground five meg" in grammar.phrases
    assert "lead_two to_ground five meg" in grammar.phrases
    assert UNKNOWN in grammar.phrases


def test_a_phrase_whose_words_the_model_has_only_joined_is_still_heard() -> None:
    """The shipped model has "to_ground" but no "ground"."""
    grammar = phrase_grammar(["lead two to ground five meg"], set(WORDS).__contains__)
    assert grammar.missing == ()
    assert {line for line in grammar.phrases if UNKNOWN not in line} == {"lead_two to_ground five meg"}


def test_listed_words_leave_no_room_for_unknown_speech() -> None:
    grammar = word_grammar(["Two", "to ground", "banana", "two"], set(WORDS).__contains__)
    assert grammar.phrases == ("two", "to_ground")
    assert grammar.missing == ("banana",)
