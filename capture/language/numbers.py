"""Spoken numbers to digits, kept exactly as said: "point eight zero" is "0.80", "thirty four seventy" is "3470".

Groups below a hundred said one after the other are joined ("five fifty" is 550); the reading with a lost point (5.50)
is kept beside it. -teen and -ty, and "a hundred" and "eight hundred", are never told apart by one engine alone, so the
twin is always offered. Words that make no number are not forced into one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from capture.language.say import ONES, TEENS, TENS

DIGITS = {word: digit for digit, word in enumerate(ONES)} | {"oh": 0, "nought": 0, "niner": 9}
"""Words of one digit."""
_TEENS = {word: number for number, word in enumerate(TEENS, 10)}
_TENS = {word: number * 10 for number, word in enumerate(TENS, 2)}
_POINTS = frozenset({"point", "dot", "decimal"})
_SCALES = {"thousand": 1000, "million": 1_000_000}
_MAX_STRING = 7  # more digits than any meter shows

TWINS: dict[str, str] = dict(zip(TEENS[3:], TENS[1:], strict=True)) | dict(zip(TENS[1:], TEENS[3:], strict=True))
"""thirteen/thirty ... nineteen/ninety, both ways: the pairs that every engine confuses."""


@dataclass(frozen=True)
class SpokenNumber:
    """A number found in a sequence of words.

    Attributes:
        digits: Plain decimal notation as spoken.
        end: Index after its last word.
        twins: Digits of words that sound alike (fifteen / fifty, a hundred / eight hundred).
        lost_point: Digits with the point that may have been left out ("5.50" for "five fifty").
        ambiguous: The words fit more than one number equally well; ask.
    """

    digits: str
    end: int
    twins: tuple[str, ...] = ()
    lost_point: tuple[str, ...] = ()
    ambiguous: bool = False


def _word(words: Sequence[str], index: int) -> str:
    return words[index] if index < len(words) else ""


def _small(words: Sequence[str], index: int) -> tuple[int, int] | None:
    """Read a number below a hundred as a cardinal; "oh" is a digit, never a cardinal."""
    word, following = _word(words, index), _word(words, index + 1)
    if word in _TENS:
        units = DIGITS.get(following, 0) if following != "oh" else 0
        return (_TENS[word] + units, index + 2) if units else (_TENS[word], index + 1)
    if word in _TEENS:
        return _TEENS[word], index + 1
    return (DIGITS[word], index + 1) if word in DIGITS and word != "oh" else None


def _hundreds(words: Sequence[str], index: int) -> tuple[int, int] | None:
    """Read a number below ten thousand without "thousand": "two hundred and five", "twenty two hundred"."""
    if _word(words, index) == "a" and _word(words, index + 1) == "hundred":
        head: tuple[int, int] | None = (1, index + 1)
    else:
        head = _small(words, index)
    if head is None or head[0] == 0 or _word(words, head[1]) != "hundred":
        return head
    value, end = head[0] * 100, head[1] + 1
    tail = _small(words, end + 1 if _word(words, end) == "and" else end)
    return (value, end) if tail is None or tail[0] == 0 else (value + tail[0], tail[1])


def _cardinal(words: Sequence[str], index: int) -> tuple[int, int] | None:
    """Read a whole number as a cardinal, up to the millions; None where none begins."""
    total, end, limit = 0, index, 1_000_000_000
    while True:
        start = end + 1 if total and _word(words, end) == "and" else end
        one = _word(words, start) == "a" and _word(words, start + 1) in _SCALES
        part = (1, start + 1) if one else _hundreds(words, start)
        if part is None or (total and part[0] == 0):
            return (total, end) if total else None
        scale = _SCALES.get(_word(words, part[1]), 1)
        if scale >= limit or (scale == 1 and total and part[0] >= limit):
            return (total, end) if total else part
        total, end, limit = total + part[0] * scale, part[1] + (scale > 1), scale
        if scale == 1:
            return total, end


def _groups(words: Sequence[str], index: int) -> tuple[list[str], int]:
    """Read consecutive groups below a hundred as digit strings, "oh five" as one group "05"."""
    groups: list[str] = []
    while (part := _small(words, index)) is not None or _word(words, index) == "oh":
        value, index = part if part is not None else (0, index + 1)
        groups.append(str(value))
    return groups, index


def _joined(words: Sequence[str], index: int) -> SpokenNumber | None:
    """Read digits one by one, or two groups of a pair reading; the longest stretch that is one of these."""
    groups, _ = _groups(words, index)
    singles = next((at for at, group in enumerate(groups) if len(group) > 1), len(groups))
    if singles >= 2 and singles == len(groups) and singles <= _MAX_STRING:
        return _digit_string(index, groups)
    if len(groups) < 2 or singles > 3:
        return None
    # One or more single digits and then a pair ("three four seventy"), or two pairs, or a pair and "oh five".
    head = groups[: singles + 1] if singles else groups[:2]
    if not singles and len(groups[1]) == 1:
        if len(groups) < 3 or groups[1] != "0" or len(groups[2]) > 1:
            return None
        head = groups[:3]
    end = index
    for _ in head:
        part = _small(words, end)
        end = end + 1 if part is None else part[1]
    if _word(words, end) == "hundred":
        return None
    first, rest = head[0], "".join(head[1:])
    if first == "0" or len(rest) > 3:
        return None
    # "thirty four seventy" is 3470 or 34.70 alike; "five fifty" is hardly ever 5.50 without a point said.
    unsure = len(first) == 2 or len(rest) == 3
    return SpokenNumber(first + rest, end, lost_point=(f"{first}.{rest}",), ambiguous=unsure)


def _digit_string(index: int, groups: list[str]) -> SpokenNumber:
    digits, end = "".join(groups), index + len(groups)
    if digits.strip("0") == "":
        return SpokenNumber("0", end, ambiguous=True)
    if digits[0] == "0":  # "oh eight": the point was lost, or it is no number
        return SpokenNumber(f"0.{digits[1:]}", end, lost_point=(f"0.{digits}", digits.lstrip("0")), ambiguous=True)
    lost = (f"{digits[0]}.{digits[1:]}",) if len(digits) == 3 else ()
    return SpokenNumber(digits, end, lost_point=lost)


def _whole(words: Sequence[str], index: int) -> SpokenNumber | None:
    """Choose the longer of a cardinal and joined groups."""
    cardinal = _cardinal(words, index)
    joined = _joined(words, index)
    if joined is not None and (cardinal is None or joined.end > cardinal[1]):
        return joined
    if cardinal is not None:
        return SpokenNumber(str(cardinal[0]), cardinal[1])
    return SpokenNumber("0", index + 1) if _word(words, index) == "oh" else None


def _places(words: Sequence[str], index: int) -> tuple[str, int] | None:
    """Read what follows the point: digits one by one, or one group ("twenty five")."""
    digits = ""
    while _word(words, index) in DIGITS and len(digits) < _MAX_STRING:
        digits += str(DIGITS[words[index]])
        index += 1
    if digits:
        return digits, index
    part = _small(words, index)
    return None if part is None else (str(part[0]), part[1])


def _leading_zeros(words: Sequence[str], index: int, point: int) -> str | None:
    """Read digits before a point as a display with leading zeros shows them; None where they are no such digits.

    "Zero four point two" is 04.2; in "oh four point two" the oh may have been a sigh.
    """
    said = words[index:point]
    if len(said) < 2 or any(word not in DIGITS for word in said) or DIGITS[said[0]]:
        return None
    digits = "".join(str(DIGITS[word]) for word in said)
    return None if said[0] == "oh" and digits.strip("0") else digits


def _plain_number(words: Sequence[str], index: int) -> SpokenNumber | None:
    """Read a number with or without a point, its twins not yet looked for."""
    whole = _whole(words, index)
    point = whole.end if whole is not None else index
    if _word(words, point) not in _POINTS:
        return whole
    places = _places(words, point + 1)
    if places is None:
        return None if whole is None else replace(whole, ambiguous=True)
    digits, end = places
    shown = _leading_zeros(words, index, point)
    if whole is not None and shown is not None:
        whole = SpokenNumber(shown, point)
    if whole is not None and "." in whole.digits:  # "oh four point two": what the oh means is open
        whole = replace(whole, digits=whole.digits.replace(".", "").lstrip("0") or "0")
    unsure = whole is not None and whole.ambiguous
    if whole is not None and _word(words, end) in _POINTS and len(words[point + 1 : end]) == len(digits) > 1:
        # "one point two one point three": the last digit may open the next number.
        digits, end, unsure = digits[:-1], end - 1, True
    text = f"{'0' if whole is None else whole.digits}.{digits}"
    return SpokenNumber(text, end, ambiguous=unsure)


def _scaled(number: SpokenNumber, words: Sequence[str], index: int) -> SpokenNumber:
    """Apply a "thousand" or "million" that follows a decimal or a pair: "two point five thousand"."""
    scale = _SCALES.get(_word(words, number.end))
    if scale is None:
        return number
    places = len(str(scale)) - 1
    whole, _, fraction = number.digits.partition(".")
    if len(fraction) > places:
        return replace(number, ambiguous=True)
    digits = (whole + fraction.ljust(places, "0")).lstrip("0") or "0"
    one_by_one = number.end - index > 1 and all(word in DIGITS for word in words[index : number.end])
    # "six five thousand": 65,000, or two numbers, or "set five thousand" misheard
    return SpokenNumber(digits, number.end + 1, ambiguous=number.ambiguous or one_by_one)


def _single(words: Sequence[str], index: int) -> SpokenNumber | None:
    number = _plain_number(words, index)
    return None if number is None else _scaled(number, words, index)


def _twin_words(words: Sequence[str], index: int, end: int) -> list[list[str]]:
    """List the same words with one of them exchanged for what sounds like it."""
    others: list[list[str]] = []
    for at in range(index, end):
        word, following = words[at], _word(words, at + 1)
        other = TWINS.get(word)
        if word in _TENS and at + 1 < end and DIGITS.get(following, 0):
            other = None  # "fifty two" has no twin
        if following == "hundred" and word in ("a", "eight"):
            other = "eight" if word == "a" else "a"
        if other is not None:
            others.append([*words[:at], other, *words[at + 1 :]])
    return others


def read_number(words: Sequence[str], index: int = 0) -> SpokenNumber | None:
    """Read the longest number that begins at a word.

    Args:
        words: Plain lower-case words.
        index: Where to begin.

    Returns:
        The number, or None when none begins there.
    """
    number = _single(words, index)
    # More than 12 digits is a row of words, not a value: no unit of ours needs them.
    if number is None or len(number.digits.replace(".", "")) > 12:
        return None
    twins = []
    for other in _twin_words(words, index, number.end):
        twin = _single(other, index)
        # Only where the exchanged words make one number of the same words again.
        if twin is not None and twin.end == number.end and twin.digits != number.digits:
            twins.append(twin.digits)
    return replace(number, twins=tuple(dict.fromkeys(twins)))
