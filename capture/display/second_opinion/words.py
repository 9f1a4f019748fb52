"""What a general reader's text means on a display: numbers in our spelling, and units for all that is written for them.

A reader of print writes "MO", "MQ" or "M0" for a megohm as often as "MΩ", "V DC" for volts, and "K" for kilo. What is
spelled as displays spell it is exact; what is taken for it is not, and counts for less.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from capture.display.strings import SYMBOLS

TWINS = str.maketrans({
    ",": ".", "。": ".", "·": ".", "•": ".", "＞": ">", "〉": ">", "›": ">", "》": ">", "＜": "<", "〈": "<", "‹": "<",
    "《": "<", "–": "-", "—": "-", "−": "-", "：": ":", "Ω": "Ω", "μ": "µ", "％": "%",
})  # fmt: skip
"""Characters that a reader of print writes for those of a display."""
OTHER = "other"
"""A unit that is none of ours: a number beside it has no unit that may be claimed."""
_FOREIGN = re.compile(
    r"[kmMGµ]?W|[kmµ]?Wh|[mk]?Ah|k?VA[rR]?|[kMG]?Hz|ppm|ppb|dBm?|°?F|[kmµ]?g|lb|oz|CPM|[mµ]?Sv/?h?|hPa|k?Pa|bar|psi|lux"
    r"|rpm|RPM|pF|[mµ]?H|[mck]?m|mm|mm²|RH|h"
)
_NUMBER = re.compile(r"(?<![A-Za-z0-9.])[<>]?-?(?:\d[\d.:]*|\.\d+)(?![A-Z]?\d|[EO])")
_OVER = re.compile(r"(?<![A-Za-z0-9])[-]?[0O]\.?F?\.?L(?![A-Za-z0-9])")
_OHM = re.compile(r"([µukKmMGT]?)(?:Ω|[Oo]hms?|OHMS?)")
_OHM_LIKE = re.compile(r"([kKmMGT])(?:[OQ0n∩ΠДoqDU])")
_KIND = re.compile(r"([µumkK]?[VvAa])(?:AC|DC|ac|dc|[~=⎓≂]|RMS|rms|ARMS)")
_WORDS = {
    "oC": "Cel", "ºC": "Cel", "℃": "Cel", "°c": "Cel", "'C": "Cel", "sec": "s", "SEC": "s", "MIN": "min", "Min": "min",
    "%RH": "%", "%rh": "%", "RH%": "%",
}  # fmt: skip
_LOOSE = {"C": "Cel", "c": "Cel", "v": "V", "a": "A", "mv": "mV", "MV": "mV", "ma": "mA", "KV": "kV", "Kv": "kV"}


@dataclass(frozen=True)
class UnitWord:
    """A unit in print: UCUM code or `OTHER`, and whether it is spelled as displays spell it."""

    code: str
    exact: bool


def unit_word(word: str) -> UnitWord | None:
    """Give the unit that a word means; None where it means none."""
    plain = word.translate(TWINS).strip(" .:;|'\"()[]")
    if match := _KIND.fullmatch(plain):
        plain = match[1]
    exact = SYMBOLS.get(plain) or _WORDS.get(plain) or _ohms(_OHM, plain)
    if exact is not None:
        return UnitWord(exact, True)
    loose = _LOOSE.get(plain) or _ohms(_OHM_LIKE, plain)
    if loose is not None:
        return UnitWord(loose, False)
    return UnitWord(OTHER, True) if plain and _FOREIGN.fullmatch(plain) else None


def _ohms(form: re.Pattern[str], word: str) -> str | None:
    """Give the UCUM code of a resistance's unit; None where the word has not this form."""
    match = form.fullmatch(word)
    return None if match is None else SYMBOLS[match[1].replace("u", "µ").replace("K", "k") + "Ω"]


def unit_in(text: str) -> UnitWord | None:
    """Find the unit in some words: the first word that means one, or two that do together ("milli Ohms", "° C")."""
    plain = text.translate(TWINS).replace("milli ", "m").replace("° ", "°").replace("º", "°").replace("°℃", "℃")
    for word in plain.split():
        if (found := unit_word(word)) is not None:
            return found
    return None


@dataclass(frozen=True)
class NumberWritten:
    """A number in a line, in our spelling ("OL" is "0L"), and what follows it up to the next number."""

    text: str
    after: str


def numbers_in(text: str) -> list[NumberWritten]:
    """Find the numbers of a line, left to right."""
    plain = text.translate(TWINS)
    plain = re.sub(r"(?<=[\d.])[oO](?=[\d.])|(?<![A-Za-z])[oO](?=\.\d)", "0", plain)
    plain = re.sub(r"(?<=[<>])\s+(?=\d)", "", plain)
    found = sorted([*_NUMBER.finditer(plain), *_OVER.finditer(plain)], key=lambda m: (m.start(), -m.end()))
    kept: list[re.Match[str]] = []
    for match in found:
        if not kept or match.start() >= kept[-1].end():
            kept.append(match)
    ends = [*(m.start() for m in kept[1:]), len(plain)][: len(kept)]
    return [
        NumberWritten(m[0].replace("O", "0").rstrip(".:"), plain[m.end() : end].strip())
        for m, end in zip(kept, ends, strict=True)
    ]


def same_number(ours: str, theirs: str) -> bool:
    """Tell whether two strings are the same number: sign, digits and point; a point behind all digits says nothing."""
    if "L" in ours and "L" in theirs:
        return ours.startswith("-") == theirs.startswith("-")
    return ours.rstrip(".") == theirs.rstrip(".") and bool(ours)
