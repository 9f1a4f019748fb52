"""How each vocabulary word is pronounced: ARPAbet phones without stress, in several US and GB variants.

The parts of words are listed in `lexicon.txt` beside this module; a multi-word entry is composed of its parts.
Nothing else is needed at run time.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from itertools import islice, product

from capture.language.vocabulary import WORDS

MAX_VARIANTS = 12
"""Variants kept per word: more would only make different words sound alike."""

# In these "a" is a letter and never weak; in all other multi-word entries it is the article.
_LETTER_A = frozenset({"a", "a_one", "a_two", "a_axis"})


@cache
def parts() -> dict[str, tuple[str, ...]]:
    """Read the pronunciations of the single words that entries are made of, most usual first."""
    text = files("capture.language").joinpath("lexicon.txt").read_text(encoding="utf-8")
    lines = (line.split("\t") for line in text.splitlines() if line and not line.startswith("#"))
    return {word: tuple(variants.split(", ")) for word, variants in lines}


@cache
def pronunciations(word: str) -> tuple[str, ...]:
    """Give the pronunciations of one vocabulary word, most usual first, phones separated by blanks.

    Args:
        word: A word of `vocabulary.WORDS`.

    Raises:
        KeyError: A part of the word is not in the lexicon.
    """
    article = word not in _LETTER_A
    choices = [("AH", "EY") if part == "a" and article else parts()[part] for part in word.split("_")]
    # By the sum of ranks, so that the usual variants of all parts come before any rare one.
    ranked = sorted(product(*[list(enumerate(choice)) for choice in choices]), key=lambda p: sum(rank for rank, _ in p))
    spoken = (" ".join(phones for _, phones in pick) for pick in ranked)
    return tuple(islice(dict.fromkeys(spoken), MAX_VARIANTS))


def lexicon() -> dict[str, tuple[str, ...]]:
    """Give every vocabulary word with its pronunciations."""
    return {word: pronunciations(word) for word in WORDS}


def phone_set() -> tuple[str, ...]:
    """Give every phone that occurs, sorted."""
    return tuple(sorted({phone for variants in lexicon().values() for v in variants for phone in v.split()}))
