"""One list of words for recogniser, lexicon, phrases and parser: none may know a word that another does not."""

from __future__ import annotations

import importlib
import re

import pytest

from capture.language import items
from capture.language.items import Cue, scan
from capture.language.lexicon import MAX_VARIANTS, lexicon, phone_set, pronunciations
from capture.language.numbers import read_number
from capture.language.parse import parse
from capture.language.phrases import phrases
from capture.language.readback import read_back
from capture.language.say import UNIT_WORDS
from capture.language.vocabulary import (
    COMMANDS,
    ENTRIES,
    FOREIGN,
    ICAO_LETTERS,
    SOFT_ANSWERS,
    SPELLINGS,
    WORDS,
    plain_text,
    plain_words,
)
from capture.reading import Command, Reading
from grading.terms.quantity import Quantity, QuantityKind

# What only makes sense beside a number or a partner, so that alone it is rightly unknown.
FRAGMENTS = {"hundred", "thousand", "million", "and", "point", "dot", "decimal", "tenth", "tenths", "minus"}

# The CMU Pronouncing Dictionary's phone set without stress (cmudict 0.7b, symbols file), less ZH, which no word needs.
ARPABET = set(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z".split()  # noqa: SIM905
)


def spoken_parts() -> set[str]:
    return {part for word in WORDS for part in plain_words(word)}


def test_the_parser_knows_every_word_that_can_be_heard() -> None:
    for word in WORDS:
        pieces = [item.piece for item in scan(plain_words(word))]
        assert Cue.UNKNOWN not in pieces or word in FRAGMENTS, word


def test_every_fragment_has_its_place_in_a_number() -> None:
    for text, digits in [
        ("five hundred", "500"),
        ("five thousand and five", "5005"),
        ("one million", "1000000"),
        ("two point five", "2.5"),
        ("two dot five", "2.5"),
        ("two decimal five", "2.5"),
    ]:
        number = read_number(text.split())
        assert number is not None
        assert number.digits == digits
    for text, digits in [("one tenth of an ohm", "0.1"), ("two tenths", "0.2"), ("minus two degrees", "-2")]:
        assert parse(text).readings[0].quantity.digits == digits


def test_the_parser_needs_no_word_that_cannot_be_heard() -> None:
    """Words in the parser's tables are vocabulary, another spelling of it, or a foreign model's way to say it."""
    foreign = {word for ways in FOREIGN.values() for way in ways for word in way.split()}
    allowed = spoken_parts() | foreign | set(SPELLINGS.values()) | {","}
    table = {word for words in items._TABLE for word in words}
    assert table - allowed - set(FOREIGN) == set()


def test_every_spelling_leads_to_words_of_the_vocabulary() -> None:
    for spelling, plain in SPELLINGS.items():
        assert set(plain.split()) <= spoken_parts() | {"centigrade"}, spelling
        assert spelling not in WORDS


def test_every_foreign_way_to_say_a_word_means_the_same() -> None:
    for word, ways in FOREIGN.items():
        if ENTRIES.get(word) is None or ENTRIES[word].word_class.value != "unit":
            continue
        for way in ways:
            wanted = parse(f"two point five {word}").readings[0].quantity
            assert parse(f"two point five {way}").readings[0].quantity == wanted


def test_what_is_read_back_is_made_of_vocabulary() -> None:
    for kind in QuantityKind:
        for code in UNIT_WORDS:
            sentence = read_back(Reading(kind, Quantity("1234567890.0", code), "X", None, "U-PE"))
            assert set(plain_text(sentence)) - {","} <= spoken_parts(), sentence


def test_phrases_use_only_vocabulary() -> None:
    assert {word for phrase in phrases(1, 5000) for word in phrase.words} <= set(WORDS)


def test_every_word_has_a_pronunciation_in_the_phone_set() -> None:
    assert set(phone_set()) <= ARPABET
    for word, variants in lexicon().items():
        assert 1 <= len(variants) <= MAX_VARIANTS, word
        assert len(set(variants)) == len(variants)


def test_letter_a_is_never_weak_and_the_article_may_be() -> None:
    assert pronunciations("a") == ("EY",)
    assert all(variant.startswith("EY") for variant in pronunciations("a_one"))
    assert any(variant.startswith("AH") for variant in pronunciations("a_hundred"))


def test_no_two_words_that_mean_different_things_sound_the_same() -> None:
    sounds: dict[str, str] = {}
    for word, variants in lexicon().items():
        for sound in variants:
            # "to" and "two" are one sound; which is meant follows from the words around (see to_ground, to_lead_one).
            assert sounds.setdefault(sound, word) == word or {sounds[sound], word} == {"to", "two"}, (
                sounds[sound],
                word,
            )


def test_commands_are_complete_and_their_words_are_commands() -> None:
    assert set(COMMANDS.values()) == set(Command)
    for words, command in COMMANDS.items():
        assert "_".join(words.split()) in WORDS
        understood = parse(words).command
        assert understood is command or (words == "scratch that" and understood is Command.REJECT)


def edit_distance(first: list[str], second: list[str]) -> int:
    row = list(range(len(second) + 1))
    for at, phone in enumerate(first, 1):
        row, before = [at], row
        for place, other in enumerate(second, 1):
            row.append(min(row[-1] + 1, before[place] + 1, before[place - 1] + (phone != other)))
    return row[-1]


def test_opposite_commands_are_far_apart_in_sound() -> None:
    """At least three phones differ between what confirms and what rejects, corrects or takes back."""
    confirms = [word for word in COMMANDS if COMMANDS[word] is Command.CONFIRM]
    opposed = [word for word in COMMANDS if COMMANDS[word] in (Command.REJECT, Command.CORRECT, Command.UNDO)]
    for first in confirms:
        for second in opposed:
            for one in pronunciations(first.replace(" ", "_")):
                for other in pronunciations(second.replace(" ", "_")):
                    assert edit_distance(one.split(), other.split()) >= 3, (first, second)


def test_short_answers_and_talk_command_nothing() -> None:
    for word in SOFT_ANSWERS:
        assert parse(word).command is None
    assert {"yes", "no", "okay", "right", "correct", "affirmative"} <= SOFT_ANSWERS
    for text in ("yes confirm", "okay confirm please"):
        assert parse(text).command is Command.CONFIRM
    for text in ("no confirm", "yes negative", "confirm [unk]", "confirm negative", "confirm banana"):
        assert parse(text).command is None
        assert parse(text).doubts


def test_the_alphabet_is_complete() -> None:
    assert sorted(ICAO_LETTERS.values()) == [chr(code) for code in range(ord("A"), ord("Z") + 1)]


@pytest.mark.parametrize("text", ["X-ray, motor alone.", "x_ray motor_alone", "Xray MOTOR ALONE"])
def test_spellings_and_case_do_not_matter(text: str) -> None:
    assert [word for word in plain_text(text) if word != ","] == ["x", "ray", "motor", "alone"]


def test_the_package_needs_only_the_standard_library() -> None:
    for name in (
        "vocabulary",
        "lexicon",
        "numbers",
        "items",
        "draft",
        "assemble",
        "kinds",
        "parse",
        "readback",
        "phrases",
    ):
        module = importlib.import_module(f"capture.language.{name}")
        source = open(str(module.__file__), encoding="utf-8").read()  # noqa: PTH123, SIM115
        roots = set(re.findall(r"^(?:from|import) (\w+)", source, flags=re.MULTILINE))
        allowed = {"__future__", "capture", "grading", "collections", "dataclasses", "decimal", "enum", "functools"}
        assert roots <= allowed | {"importlib", "itertools", "random"}, name
