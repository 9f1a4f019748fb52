"""Numbers and units as words: what read-back says and what the phrase generator speaks."""

from __future__ import annotations

ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]

UNIT_WORDS: dict[str, tuple[str, str]] = {
    "uOhm": ("microohm", "microohms"),
    "mOhm": ("milliohm", "milliohms"),
    "Ohm": ("ohm", "ohms"),
    "kOhm": ("kilohm", "kilohms"),
    "MOhm": ("megohm", "megohms"),
    "GOhm": ("gigohm", "gigohms"),
    "TOhm": ("teraohm", "teraohms"),
    "mV": ("millivolt", "millivolts"),
    "V": ("volt", "volts"),
    "kV": ("kilovolt", "kilovolts"),
    "uA": ("microamp", "microamps"),
    "mA": ("milliamp", "milliamps"),
    "A": ("amp", "amps"),
    "nF": ("nanofarad", "nanofarads"),
    "uF": ("microfarad", "microfarads"),
    "Cel": ("degree celsius", "degrees celsius"),
    "%": ("percent", "percent"),
    "s": ("second", "seconds"),
    "min": ("minute", "minutes"),
    "h": ("hour", "hours"),
}
"""UCUM code to its spoken singular and plural."""


def below_hundred(number: int) -> list[str]:
    """Spell a number of 0..99 in words."""
    if number < 10:
        return [ONES[number]]
    if number < 20:
        return [TEENS[number - 10]]
    tens = [TENS[number // 10 - 2]]
    return tens if number % 10 == 0 else [*tens, ONES[number % 10]]


def cardinal(number: int, *, use_and: bool = False) -> list[str]:
    """Spell a whole number in words, e.g. 3470 as "three thousand four hundred seventy".

    Args:
        number: 0 to 999,999,999.
        use_and: Put "and" before the last two digits, as in British English.

    Raises:
        ValueError: The number is outside the range.
    """
    if not 0 <= number <= 999_999_999:
        raise ValueError(f"{number} is outside 0 to 999,999,999.")
    words: list[str] = []
    for size, name in ((1_000_000, "million"), (1_000, "thousand")):
        if number >= size:
            words += [*cardinal(number // size, use_and=use_and), name]
            number %= size
    if number >= 100:
        words += [ONES[number // 100], "hundred"]
        number %= 100
        if number and use_and:
            words.append("and")
    elif words and number and use_and:
        words.append("and")
    return words + below_hundred(number) if number or not words else words


def digit_by_digit(digits: str) -> list[str]:
    """Spell a value in words, one per character: "0.80" as "zero point eight zero".

    Args:
        digits: Plain decimal notation; a leading "-" becomes "minus", a missing whole part stays missing.
    """
    special = {".": "point", "-": "minus", "+": "plus"}
    return [special.get(character) or ONES[int(character)] for character in digits.strip()]


def unit_words(code: str, *, singular: bool = False) -> list[str]:
    """Give the words of a unit by its UCUM code.

    Raises:
        KeyError: The code is not in `UNIT_WORDS`.
    """
    return UNIT_WORDS[code][0 if singular else 1].split()
