"""The recogniser's runtime grammar: which words may follow which, made from the vocabulary and its phrases.

A model that lacks a word of the vocabulary is given the plain words instead ("to_ground" as "to ground"), or another
way to say it ("kilohm" as "kilo ohm"). What it cannot say at all is named.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

from capture.expectation import Asked
from capture.language.answers import answers
from capture.language.phrases import noted_phrases, phrases, word_phrases
from capture.language.vocabulary import ENTRIES, FOREIGN, UNKNOWN, WORDS, WordClass, plain_words

PHRASES = 12_000
"""Phrases that the word pairs are counted from: enough that every usual pair occurs, quick enough to build at start."""

SEED = 20
"""Of the phrases; one seed, so that the grammar is the one that the confidence was calibrated with."""

LISTED = 2_000
"""Least number of lines in the grammar of a list of phrases, against two for unknown words: who gives a list means to
say what stands in it. With 200, beside ten digits, unknown speech took 32 of 300 single digits over a telephone (Free
Spoken Digit Dataset), now 8. For talk beside the whole vocabulary see `_TALK_LINES`."""

STEERING = 15
"""Lines for each expression that steers the work ("skip it"): about as many as a command of the phrases has."""

NOTED = 600
"""Phrases that name circumstances: so that each stands alone as often as an expression that steers the work."""

UNDOING = 45
"""Further lines for "undo that", which of what steers the work lies nearest to a reading ("under eight")."""

_TALK = ((UNKNOWN,), (UNKNOWN,) * 2, (UNKNOWN,) * 4)  # unknown words follow one another: talk is rarely one word
_TALK_LINES = (20, 10, 10)
"""How often each stands in the vocabulary's grammar: on training voices, talk taken for readings fell from 19 of 50
sentences to 3, for one of 140 phrases lost; ten times as many lost more phrases and gained nothing."""


@dataclass(frozen=True)
class Grammar:
    """A grammar for one model.

    Attributes:
        phrases: Phrases of words that the model knows, repeated by how usual they are; unknown speech is one of them.
        missing: Vocabulary words that cannot be said with the model's words.
    """

    phrases: tuple[str, ...]
    missing: tuple[str, ...]


def sayings(word: str, knows: Callable[[str], bool]) -> tuple[str, ...] | None:
    """Say a vocabulary word in words that a model knows; None where it cannot be said.

    Args:
        word: A word of the vocabulary, or any other word.
        knows: Tells whether the model knows a word.
    """
    if knows(word):
        return (word,)
    parts = []
    for part in plain_words(word):
        ways = [(part,), *(tuple(way.split()) for way in FOREIGN.get(part, ()))]
        way = next((way for way in ways if all(knows(piece) for piece in way)), None)
        if way is None:
            return None
        parts.append(way)
    return tuple(piece for way in parts for piece in way)


@cache
def _spoken() -> tuple[tuple[str, ...], ...]:
    """Make vocabulary phrases, and by itself each word that none of them holds; the same at every start.

    A word that only makes sense beside others, such as a unit, is thus never expected alone.
    """
    spoken = [phrase.words for phrase in phrases(SEED, PHRASES)]
    used = {word for words in spoken for word in words}
    alone = [phrase.words for phrase in word_phrases() if phrase.words[0] not in used]
    # What steers the work is said alone, and would be as rare here as a word that nobody says alone.
    steering = [words for words in alone if ENTRIES[words[0]].word_class is WordClass.DIALOGUE and words != ("not",)]
    noted = [phrase.words for phrase in noted_phrases(SEED, NOTED)]
    return (*spoken, *alone, *steering * STEERING, *[("undo_that",)] * UNDOING, *noted)


def vocabulary_grammar(knows: Callable[[str], bool]) -> Grammar:
    """Make the grammar of everything the tool can hear.

    Args:
        knows: Tells whether the model knows a word.
    """
    missing = tuple(word for word in WORDS if sayings(word, knows) is None)
    talk = [" ".join(words) for words, count in zip(_TALK, _TALK_LINES, strict=True) for _ in range(count)]
    return Grammar((*_lines(_spoken(), knows), *talk), missing)


def answer_lines(asked: Asked, knows: Callable[[str], bool]) -> tuple[str, ...]:
    """Give the lines that lead hearing to what was asked, beside those of the vocabulary; none where nothing was.

    Args:
        asked: What was asked.
        knows: Tells whether the model knows a word.
    """
    return _lines([phrase.words for phrase in answers(asked)], knows)


def _lines(spoken: Sequence[tuple[str, ...]], knows: Callable[[str], bool]) -> tuple[str, ...]:
    """Say phrases in words that the model knows; those that cannot be said are left out."""
    ways = {word: sayings(word, knows) for word in WORDS}
    lines = []
    for words in spoken:
        said = [ways[word] for word in words]
        if all(way is not None for way in said):
            lines.append(" ".join(piece for way in said if way is not None for piece in way))
    return tuple(lines)


def phrase_grammar(lines: Sequence[str], knows: Callable[[str], bool]) -> Grammar:
    """Make the grammar of a list of phrases from outside, one phrase a line.

    Both ways to say a phrase are allowed where the vocabulary joins words ("to ground" and "to_ground").

    Args:
        lines: Phrases of plain words, upper or lower case.
        knows: Tells whether the model knows a word.
    """
    kept: list[str] = []
    missing: dict[str, None] = {}
    for line in lines:
        words = line.lower().replace(",", " ").split()
        ways = [way for way in (_in_words(words, knows), _in_words(_joined(words, knows), knows)) if way is not None]
        kept += [" ".join(way) for way in ways]
        if not ways:
            missing |= {word: None for word in words if sayings(word, knows) is None}
    listed = list(dict.fromkeys(line for line in kept if line))
    talk = [" ".join(words) for words in _TALK[:2]]
    # A short list is repeated, since who gives a list means to say what stands in it.
    return Grammar((*listed * (1 + LISTED // max(1, len(listed))), *talk), tuple(missing))


def word_grammar(words: Sequence[str], knows: Callable[[str], bool]) -> Grammar:
    """Make the grammar of any sequence of a list of words, and of nothing else.

    Unknown speech is no part of it: beside ten digits it took a quarter of the strings that real people said.

    Args:
        words: Words of the vocabulary, upper or lower case; one of several words may be joined by "_" or spaces.
        knows: Tells whether the model knows a word.
    """
    ways = {word: sayings("_".join(word.lower().split()), knows) for word in words}
    said = dict.fromkeys(" ".join(way) for way in ways.values() if way)
    return Grammar(tuple(said), tuple(word for word, way in ways.items() if way is None))


def _in_words(words: Sequence[str], knows: Callable[[str], bool]) -> list[str] | None:
    """Say the words as the model knows them; None when one cannot be said."""
    said = [sayings(word, knows) for word in words]
    return None if None in said else [piece for way in said if way is not None for piece in way]


@cache
def _joined_entries() -> dict[tuple[str, ...], str]:
    return {tuple(word.split("_")): word for word in WORDS if "_" in word}


def _joined(words: Sequence[str], knows: Callable[[str], bool]) -> list[str]:
    """Put the vocabulary's joined entries in place of their parts, where the model knows them."""
    joined: list[str] = []
    index = 0
    while index < len(words):
        # The longest entry first: "lead to ground" before "to ground".
        sizes = range(min(6, len(words) - index), 1, -1)
        found = ((size, _joined_entries().get(tuple(words[index : index + size]), "")) for size in sizes)
        size, word = next(((size, word) for size, word in found if word and knows(word)), (1, words[index]))
        joined.append(word)
        index += size
    return joined
