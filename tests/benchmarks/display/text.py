"""A number with its unit in what a general text reader wrote: as much as can fairly be taken from it."""

from __future__ import annotations

import re

from capture.display.printed import unit_of
from capture.display.strings import SYMBOLS

_NUMBER = re.compile(r"[<>]?-?(?:\d+\.?\d*|\.\d+)|-?[0Oo]\.?F?\.?L\b|-{2,}|[<>]")
_TWINS = str.maketrans({",": ".", "＞": ">", "〉": ">", "›": ">", "＜": "<", "〈": "<", "‹": "<", "–": "-", "—": "-",
                        "−": "-", "：": ":", "。": ".", "·": ".", "•": "."})  # fmt: skip


def canonical(text: str) -> str:
    """Spell a main string as every reader is to spell it: seven segments do not tell O from 0."""
    return text.replace("O", "0").replace(" ", "")


def number_and_unit(text: str) -> tuple[str, str | None] | None:
    """Find the longest number of a line with the unit that follows it; None if there is no number."""
    line = text.translate(_TWINS).replace(" ", "")
    line = re.sub(r"(?<=[\d.])[oO](?=[\d.])|^[oO](?=\.\d)", "0", line)
    time = re.search(r"(\d{1,3}:)?\d{1,3}:\d\d(\.\d)?", line)
    line = line if time is None else line.replace(time[0], " ", 1)
    found = [m for m in _NUMBER.finditer(line) if m[0] not in "<>"]
    if not found:
        return None if time is None else (time[0], "s")
    best = max(found, key=lambda m: len(m[0]))
    return canonical(best[0].upper()), unit_in(line[best.end() :])


def unit_in(text: str) -> str | None:
    """Guess the unit that a word most likely means; letters that readers mix up count (K for k, C for °C)."""
    word = text.strip().replace(" ", "")
    if not word:
        return None
    kind = {"C": "°C", "c": "°C", "°c": "°C", "℃": "°C", "S": "s", "MIN": "min", "Min": "min", "v": "V", "a": "A"}
    for form in (word, kind.get(word, word), word.replace("K", "k"), word.replace("n", "Ω"), word.replace("U", "µ")):
        code = unit_of(form) or SYMBOLS.get(form)
        if code:
            return code
    return None
