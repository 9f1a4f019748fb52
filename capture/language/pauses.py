"""Words made ready for the parser: pauses that part nothing are dropped, and homophones of digits are noticed.

People pause inside numbers ("three, four, seven, zero"), before units and inside fixed expressions; only a pause
between two whole things parts them. A recogniser without our grammar writes "to" for "two"; where only a digit makes
sense the digit is taken, and the value is asked about.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from capture.language.numbers import DIGITS, read_number
from capture.language.say import TEENS, TENS
from capture.language.vocabulary import ENTRIES, FOREIGN, WordClass

PAUSE = ","
_POINTS = frozenset({"point", "dot", "decimal"})
_SCALES = frozenset({"hundred", "thousand", "million"})
_NUMBER = frozenset({*DIGITS, *TEENS, *TENS, *_POINTS, *_SCALES})
_JOINING = frozenset({"to", "at", "than", "axis", "of", "after", "and"})  # a pause beside one of these ends nothing
_HOMOPHONES = {"to": "two", "too": "two", "for": "four", "won": "one", "ate": "eight"}
_LEADS = frozenset({"lead", "a", "f", "t"})  # "lead one to ground", "A one to A two"


@cache
def _units() -> frozenset[str]:
    """List every word that a unit can begin with."""
    plain = {entry.plain[0] for entry in ENTRIES.values() if entry.word_class is WordClass.UNIT}
    foreign = {way.split()[0] for word in plain for way in FOREIGN.get(word, ())}
    return frozenset((plain | foreign) - {"a", "an"})


@cache
def _expressions() -> dict[str, tuple[tuple[str, ...], ...]]:
    """Index fixed expressions of several words by their first word."""
    found: dict[str, list[tuple[str, ...]]] = {}
    for entry in ENTRIES.values():
        if len(entry.plain) > 1:
            found.setdefault(entry.plain[0], []).append(entry.plain)
    return {first: tuple(ways) for first, ways in found.items()}


def without_idle_pauses(words: Sequence[str]) -> list[str]:
    """Drop the pauses that part nothing.

    Args:
        words: Plain words with "," for each pause.
    """
    # Expressions first: "a, hundred" must be whole before numbers are looked for.
    return _numbers_joined(_expressions_joined(words))


def _expressions_joined(words: Sequence[str]) -> list[str]:
    """Remove pauses inside a fixed expression, beside a joining word, or between a number and its unit."""
    kept: list[str] = []
    for index, word in enumerate(words):
        following = words[index + 1] if index + 1 < len(words) else ""
        if word == PAUSE and kept and following:
            joined = following in _JOINING or kept[-1] in _JOINING
            measured = kept[-1] in _NUMBER and following in _units()
            if joined or measured or _inside_expression(kept, words[index + 1 :]):
                continue
        kept.append(word)
    return kept


def _inside_expression(before: Sequence[str], after: Sequence[str]) -> bool:
    """Tell whether a fixed expression runs on across a pause."""
    rest = [word for word in after if word != PAUSE]
    for length in (1, 2, 3, 4):
        head = tuple(before[-length:]) if length <= len(before) else ("",)
        for whole in _expressions().get(head[0], ()):
            if len(whole) > length and whole[:length] == head and tuple(rest[: len(whole) - length]) == whole[length:]:
                return True
    return False


def _numbers_joined(words: Sequence[str]) -> list[str]:
    """Remove pauses inside one number."""
    kept: list[str] = []
    for index, word in enumerate(words):
        if word == PAUSE and _one_number(_run_before(kept), _run_after(words, index + 1)):
            continue
        kept.append(word)
    return kept


def _run_before(words: Sequence[str]) -> list[str]:
    start = len(words)
    while start and (words[start - 1] in _NUMBER or (words[start - 1] == "and" and words[start - 2] in _SCALES)):
        start -= 1
    if start and words[start - 1] == "a" and words[start:] and words[start] in _SCALES:
        start -= 1
    return list(words[start:])


def _run_after(words: Sequence[str], start: int) -> list[str]:
    end = start
    while end < len(words) and words[end] in _NUMBER:
        end += 1
    return list(words[start:end])


def _one_number(before: list[str], after: list[str]) -> bool:
    """Tell whether the words on both sides of a pause are one number and nothing else."""
    if not before or not after:
        return False
    if before[-1] in _POINTS or (len(after) == 1 and after[0] in _POINTS):
        return sum(word in _POINTS for word in (*before, *after)) == 1  # "zero, point, eight"
    if len(after) > 1 and after[0] not in _POINTS and after[1] in _POINTS and read_number(before) is not None:
        return False  # "eight, nine point five": two values rather than one
    number = read_number([*before, *after])
    return number is not None and number.end == len(before) + len(after) and not number.ambiguous


def with_digits_for_homophones(words: Sequence[str]) -> tuple[list[str], bool]:
    """Take "to" for "two" and the like where only a digit makes sense.

    Args:
        words: Plain words.

    Returns:
        The words, and whether any was exchanged; such a value must be asked about.
    """
    made = list(words)
    for index, word in enumerate(words):
        if word in _HOMOPHONES and _wants_digit(made, index):
            made[index] = _HOMOPHONES[word]
    return made, made != list(words)


def _wants_digit(words: Sequence[str], index: int) -> bool:
    """Tell whether a digit fits here and nothing else: before a unit or a point, or between number words."""
    following = words[index + 1] if index + 1 < len(words) else ""
    before = words[index - 1] if index else ""
    lead = index > 1 and words[index - 2] in _LEADS
    if following in _POINTS or following in _units():
        # "lead one to ohms" and "set to volts" keep their "to".
        return not lead and before not in ("set", "built", "down", "up")
    return before in _NUMBER and following in _NUMBER and not lead
