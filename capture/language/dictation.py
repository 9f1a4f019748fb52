"""How people dictate where nobody answers: shorter than in a dialogue, and with pauses inside a reading.

In a dialogue what is missing is asked for; into a recorder people say "Z axis, motor alone, five hundred volts", then
"U one point eight gig", "V the same". Here the words that everybody would add are added, by rules that need the axes of
the job; nothing else is guessed.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from capture.language.vocabulary import ENTRIES, ICAO_LETTERS, WordClass, plain_text
from capture.reading import Context
from grading.terms.quantity import QuantityKind

_LEADS = frozenset("uvw")
_RADIO = {word.replace("_", " "): letter.lower() for word, letter in ICAO_LETTERS.items()}
_SET_VOLTS = frozenset(
    {"fifty", "one hundred", "a hundred", "two hundred fifty", "two fifty", "five hundred", "one thousand",
     "a thousand", "two thousand five hundred", "five thousand"}
)  # fmt: skip
"""Test voltages that testers offer (IEC 61557-2 and the catalogues' usual steps, from memory), as they are said."""

_PLACES = frozenset({"axis", "motor", "cable", "through"})
_AGAIN = frozenset({"same", "value", "ditto"})
_TO_GROUND = (QuantityKind.INSULATION_RESISTANCE, QuantityKind.RESISTANCE_TO_GROUND)


def _of(*classes: WordClass) -> frozenset[str]:
    return frozenset(e.plain[0] for e in ENTRIES.values() if e.word_class in classes and len(e.plain) == 1)


_NUMBER = _of(WordClass.DIGIT, WordClass.TEEN, WordClass.TENS, WordClass.MULTIPLIER)
_OPEN_END = _of(WordClass.POINT, WordClass.COMPARE, WordClass.SIGN) | {"than"}
_UNIT = _of(WordClass.UNIT)
_FILLER = _of(WordClass.FILLER) | {","}
_VALUE_STARTS = _NUMBER | _OPEN_END | _of(WordClass.OVER_RANGE, WordClass.SHORT) | {"the", "same", "ditto", "wide"}


def _bare(text: str) -> list[str]:
    return [word for word in plain_text(text) if word not in _FILLER]


def unfinished(text: str) -> bool:
    """Tell whether words break off within a value: after a number, a point or a comparison.

    >>> unfinished("lead to ground point eight"), unfinished("point eight meg")
    (True, False)
    """
    words = _bare(text)
    return bool(words) and words[-1] in _NUMBER | _OPEN_END


def goes_on(before: str, text: str) -> bool:
    """Tell whether words go on with a value that broke off: with its unit, or with digits after a point.

    >>> goes_on("lead to ground point eight", "gig"), goes_on("point eight", "v one point two")
    (True, False)
    """
    last, words = _bare(before), _bare(text)
    if not words or not last:
        return False
    return words[0] in _UNIT or (last[-1] in _OPEN_END and words[0] in _NUMBER)


def dictated(words: Sequence[str], context: Context, axes: Collection[str]) -> list[str]:
    """Add what goes without saying in dictation; the words themselves stay as they were heard, in their order.

    Args:
        words: Plain words as heard, without marks of pauses.
        context: What held before.
        axes: Names of the job's axes, upper case.

    Returns:
        The words, perhaps with "insulation set" before a test voltage that was named with a place, and "to ground"
        after a lead that was named alone in front of a value.
    """
    return _with_ground(_with_set(words), context, axes)


def _with_set(words: Sequence[str]) -> list[str]:
    """Take the usual test voltage, said last after a place, for the setting of the tester."""
    if len(words) < 4 or words[-1] not in ("volt", "volts") or {"at", "set", "insulation"} & set(words):
        return list(words)
    for length in range(4, 0, -1):
        before, value = words[: -1 - length], words[-1 - length : -1]
        if " ".join(value) in _SET_VOLTS and _PLACES & set(before):
            return [*before, "insulation", "set", *value, words[-1]]
    return list(words)


def _with_ground(words: Sequence[str], context: Context, axes: Collection[str]) -> list[str]:
    """Take a lead that is named alone, in a test to ground, for that lead to ground."""
    if context.kind not in _TO_GROUND:
        return list(words)
    first = next((index for index, word in enumerate(words) if word not in _FILLER), len(words))
    letter = "".join(_RADIO.get(word, word) for word in words[first : first + 1])
    rest = [word for word in words[first + 1 :] if word not in _FILLER or word == "the"]
    if rest[:1] == ["to"] and set(rest[1:]) <= _AGAIN:  # "the" is heard as "to"
        rest = rest[1:]
    if letter in _LEADS and letter.upper() not in axes and rest and rest[0] in _VALUE_STARTS:
        return [*words[: first + 1], "to", "ground", *words[first + 1 :]]
    return list(words)
