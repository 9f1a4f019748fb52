"""Written readings back into words, so that a peer that writes "2.2 MΩ" is read by the same parser."""

from __future__ import annotations

import re

from capture.language.say import cardinal, digit_by_digit

_SIGNS = (
    ("MΩ", "megohms"), ("GΩ", "gigohms"), ("TΩ", "teraohms"), ("[kK]Ω", "kilohms"), ("mΩ", "milliohms"),
    ("[µμu]Ω", "microohms"), ("Ω", "ohms"), ("°\\s*C", "degrees celsius"), ("°\\s*F", "degrees fahrenheit"),
    ("°", "degrees"), ("%", "percent"), (r"(?<=\d)\s?½", "and a half"), ("½", "half"), ("¼", "quarter"),
    ("¾", "three quarters"), ("[–—-]", " "),
)  # fmt: skip
_AFTER_NUMBER = (
    ("kV", "kilovolts"), ("mV", "millivolts"), ("V", "volts"), ("mA", "milliamps"), ("[µμu]A", "microamps"),
    ("A", "amps"), ("nF", "nanofarads"), ("[µμu]F", "microfarads"), ("M", "meg"), ("G", "gig"), ("[kK]", "k"),
    ("C", "celsius"), ("F", "fahrenheit"),
)  # fmt: skip
_WORDS = {
    "ol": "o l", "pe": "p e", "mega": "meg", "giga": "gig", "om": "ohm", "oms": "ohms", "ohn": "ohm",
    "kohms": "kilohms", "megom": "megohm", "megoms": "megohms", "gigom": "gigohm", "gigoms": "gigohms",
    "mohms": "megohms", "gohms": "gigohms", "overrange": "over range", "overlimit": "over limit", "ohmeter": "ohmmeter",
    "mag": "meg", "mags": "megs", "megam": "megohm", "megams": "megohms", "microfords": "microfarads", "be": "b",
}  # fmt: skip


def spoken(text: str) -> str:
    """Write text as the words that were said, as well as they can be told.

    Args:
        text: As a peer writes it, e.g. "X-axis, 1,550 MΩ."
    """
    text = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text)
    text = re.sub(r"(^|\s)-(?=\.?\d)", r"\1minus ", text)
    for sign, said in _SIGNS:
        text = re.sub(sign, f" {said} " if said.strip() else " ", text)
    for sign, said in _AFTER_NUMBER:
        text = re.sub(rf"(?<=\d)\s?{sign}\b", f" {said}", text)
    text = re.sub(r"\b([A-Za-z])\.(?=[A-Za-z]\b)", r"\1 ", text.lower())
    text = re.sub(r"(?<=[a-z])(?=\d)", " ", text)
    text = re.sub(r"\d*\.\d+|\d+", lambda found: f" {_number(found.group())} ", text)
    words = re.findall(r"[a-z][a-z']*", text)
    return " ".join(_WORDS.get(word, word) for word in words)


def _number(digits: str) -> str:
    """Say digits as a person does: whole numbers as such, what follows a point one by one."""
    whole, point, places = digits.partition(".")
    said = digit_by_digit(whole) if whole.startswith("0") or len(whole) > 9 else cardinal(int(whole)) if whole else []
    return " ".join([*said, *(["point", *digit_by_digit(places)] if point and places else [])])
