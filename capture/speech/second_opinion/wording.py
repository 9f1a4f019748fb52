"""Between the two engines' ways to write: our words as the second engine may spell them, and its text in our words."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from difflib import SequenceMatcher
from functools import cache

from capture.language.say import digit_by_digit
from capture.language.vocabulary import ENTRIES, UNKNOWN, WORDS, WordClass, plain_words, unit_words
from capture.language.written import spoken

# Common English words that sound like one of ours: the second engine writes whichever is the more usual.
_SOUND_ALIKE = {
    "for": "four", "fore": "four", "too": "two", "ate": "eight", "won": "one", "tree": "three", "axes": "axis",
    "access": "axis", "alpha": "alfa", "juliet": "juliett", "celcius": "celsius", "tense": "tenths", "why": "y",
    "see": "c", "sea": "c", "bee": "b", "be": "b", "tea": "t", "pea": "p", "you": "u", "kay": "k", "ex": "x",
}  # fmt: skip

_SPELT = {
    "kilohm": "kilo ohm", "kilohms": "kilo ohms", "megohm": "mega ohm", "megohms": "mega ohms",
    "gigohm": "giga ohm", "gigohms": "giga ohms", "teraohms": "tera ohms", "milliohms": "milli ohms",
    "milliohm": "milli ohm", "microohms": "micro ohms", "microamps": "micro amps", "milliamps": "milli amps",
    "microfarads": "micro farads", "nanofarads": "nano farads",
}  # fmt: skip
"""Trade words that the second engine does not know, in words that it does."""

_TRADE = frozenset(
    f"{unit}{end}"
    for unit in ("ohm", "kilohm", "megohm", "gigohm", "teraohm", "milliohm", "microohm", "meg", "gig")
    for end in ("", "s")
) | {"ohmmeter"}
"""Words of the trade that the second engine seldom writes: it hears "volts", "on" or "home" in noise."""

_NUMBERS = frozenset({WordClass.DIGIT, WordClass.TEEN, WordClass.TENS, WordClass.MULTIPLIER, WordClass.POINT})

_ALIKE = 0.34
"""Least share of letters in common for a word that is none of ours to stand for the word that the first engine heard in
its place ("megams" for "megohms")."""


@cache
def _vocabulary() -> frozenset[str]:
    return frozenset(part for word in WORDS for part in plain_words(word))


def trade_words(text: str) -> int:
    """Count words of the trade that the second engine does not know."""
    return sum(word in _TRADE for word in text.split())


def is_unit(word: str) -> bool:
    """Tell whether a plain word is of a unit, or one of the trade that the second engine seldom writes ("ohmmeter")."""
    return word in unit_words() or word in _TRADE


def numbers_alone(text: str) -> bool:
    """Tell whether plain words are number words and nothing else: those any engine knows."""
    return all(word in ENTRIES and ENTRIES[word].word_class in _NUMBERS for word in text.split())


def spellings(text: str) -> tuple[str, ...]:
    """Give the ways in which the second engine may write plain words of ours; unknown speech is left out."""
    plain = [word for word in text.split() if word != UNKNOWN]
    return tuple(dict.fromkeys((" ".join(plain), " ".join(_SPELT.get(word, word) for word in plain))))


def in_our_words(written: str, heard: str, knows: Callable[[str], bool] | None = None) -> tuple[str, ...]:
    """Put the second engine's transcript into our words, in the ways its figures may have been said.

    A word that is none of ours gives way to the word that the first engine heard in its place, if they look alike; if
    none does, this is not a way to say it in our words.

    Args:
        written: The transcript ("13 megams.").
        heard: The first engine's plain words.
        knows: Tells whether a plain word may come out; None for the whole vocabulary.

    Returns:
        Plain words, none twice; nothing where the transcript cannot be said in our words.
    """
    knows = knows or _vocabulary().__contains__
    ways = (spoken(written), spoken(_apart(written)))
    made = (_replaced(way.split(), heard.split(), knows) for way in ways)
    return tuple(dict.fromkeys(" ".join(words) for words in made if words))


def plain_ways(written: str) -> tuple[str, ...]:
    """Write the second engine's transcript as candidates are written: lower case, no marks, figures in words.

    Args:
        written: The transcript ("For. 13.").

    Returns:
        Plain words, with figures as numbers and as digits one by one; nothing where it holds no word.
    """
    ways = (" ".join(re.findall(r"[a-z']+", way.lower())) for way in (spoken(written), spoken(_apart(written))))
    return tuple(dict.fromkeys(way for way in ways if way))


def _apart(written: str) -> str:
    """Write every figure as digits said one by one."""
    pointed = re.sub(r"(?<=\d)\.(?=\d)|(?<!\S)\.(?=\d)", " point ", re.sub(r"(?<=\d),(?=\d{3}\b)", "", written))
    return re.sub("[0-9]", lambda found: f" {digit_by_digit(found.group())[0]} ", pointed)


def _replaced(words: Sequence[str], heard: Sequence[str], knows: Callable[[str], bool]) -> list[str]:
    """Put words of ours in place of those that are none; empty where that fails for one of them."""
    alike = [_SOUND_ALIKE.get(word, word) if not knows(word) else word for word in words]
    made: list[str] = []
    for kind, start, end, first, last in SequenceMatcher(None, heard, alike, autojunk=False).get_opcodes():
        if kind == "equal":
            made += heard[start:end]
            continue
        old = list(heard[start:end])
        for word in alike[first:last]:
            found = word if knows(word) else _like(word, old)
            if not found:
                return []
            made.append(found)
    return made


def _like(word: str, heard: list[str]) -> str:
    """Choose the word heard in the same place that looks most like it, once; empty if none does."""
    shares = [(SequenceMatcher(None, word, other, autojunk=False).ratio(), -at) for at, other in enumerate(heard)]
    share, at = max(shares, default=(0.0, 0))
    return heard.pop(-at) if share >= _ALIKE else ""
