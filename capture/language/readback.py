"""Read-back: one sentence that says a reading digit by digit, so that an ear catches what an eye would.

What is said can be heard again: `parse` of the sentence gives the same value, unit and bound.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from capture.language.say import cardinal, digit_by_digit, unit_words
from capture.language.vocabulary import CIRCUMSTANCES, ICAO_LETTERS
from capture.reading import Reading
from grading.terms.circumstance import Circumstance
from grading.terms.quantity import Qualifier, QuantityKind, unit
from grading.terms.section import SECTION_WORDS

_ALPHABET = {
    letter: "X-ray" if letter == "X" else word.replace("_", " ").capitalize() for word, letter in ICAO_LETTERS.items()
}
_KINDS = {
    QuantityKind.INSULATION_RESISTANCE: "insulation",
    QuantityKind.WINDING_RESISTANCE: "winding resistance",
    QuantityKind.RESISTANCE_TO_GROUND: "ohmmeter",
    QuantityKind.CONTINUITY: "continuity",
    QuantityKind.VOLTAGE: "voltage",
    QuantityKind.CURRENT: "current",
    QuantityKind.CAPACITANCE: "capacitance",
    QuantityKind.TEMPERATURE: "temperature",
    QuantityKind.HUMIDITY: "humidity",
}
_CIRCUMSTANCES: dict[Circumstance, str] = {
    meant: words
    for words, meant in reversed(CIRCUMSTANCES.items())  # the first wording of each wins
}
_WITHOUT_DIGITS = {
    Qualifier.OPEN: "over range",
    Qualifier.ABOVE: "over range",
    Qualifier.SHORT: "dead short",
    Qualifier.BELOW: "below range",
    Qualifier.NONE: "no reading",
    Qualifier.EQUAL: "no reading",
}


def axis_words(axis: str) -> str:
    """Name an axis by its alphabet word: "X" as "X-ray axis", "SPINDLE" as "spindle"."""
    if axis.upper() in ("SPINDLE", ""):
        return axis.lower()
    word = _ALPHABET.get(axis[0].upper())
    if word is None or not (len(axis) == 1 or (axis[1:].isascii() and axis[1:].isdigit())):
        return f"{axis} axis"
    return " ".join([word, *digit_by_digit(axis[1:]), "axis"])


def _lead_words(lead: str) -> str:
    if lead == "PE":
        return "ground"
    if lead in ("lead", "ground"):
        return lead
    if lead == "all":
        return "all leads"
    letters, digits = lead.rstrip("0123456789"), lead[len(lead.rstrip("0123456789")) :]
    return " ".join([letters.upper() or "lead", *digit_by_digit(digits)])


def terminal_words(terminals: str) -> str:
    """Name a test point in words: "A1-A2" as "A one to A two", "1-PE" as "lead one to ground"."""
    ends = [" and ".join(_lead_words(lead) for lead in end.split("+") if lead) for end in terminals.split("-")]
    return " to ".join(end for end in ends if end)


def number_words(digits: str, unit_code: str | None) -> str:
    """Spell digits one by one with their unit: "0.80", "MOhm" as "zero point eight zero megohms"."""
    words = digit_by_digit(digits)
    if unit_code is not None:
        words += unit_words(unit_code, singular=digits == "1")
    return " ".join(words)


def volts_words(volts: Decimal) -> str:
    """Spell a test voltage, V: the usual steps as a cardinal, others digit by digit."""
    whole = volts == volts.to_integral_value() and volts > 0 and volts % 50 == 0
    words = cardinal(int(volts)) if whole else digit_by_digit(format(volts, "f"))
    return " ".join([*words, "volts"])


def _value_words(reading: Reading) -> str:
    quantity = reading.quantity
    if quantity.qualifier is Qualifier.COLLAPSED:
        shown = "" if quantity.digits is None else f", reads {number_words(quantity.digits, quantity.unit)}"
        return f"won't build{shown}"
    if quantity.digits is None:
        return _WITHOUT_DIGITS[quantity.qualifier]
    bound = {Qualifier.ABOVE: "greater than ", Qualifier.BELOW: "less than "}.get(quantity.qualifier, "")
    return bound + number_words(quantity.digits, quantity.unit)


def _voltage_words(reading: Reading) -> str:
    asked, built = reading.test_voltage_set, reading.test_voltage_built
    if built is not None and asked is not None and built != asked:
        return f", set {volts_words(asked)}, built {volts_words(built)}"
    if reading.quantity.qualifier is Qualifier.COLLAPSED:
        return f", built {volts_words(built)}" if built is not None else ""
    volts = built if built is not None else asked
    return "" if volts is None else f" at {volts_words(volts)}"


def _time_words(seconds: Decimal) -> str:
    minutes = seconds / 60
    # Whole minutes as minutes, as the one-minute and ten-minute readings are called.
    code, count = ("min", minutes) if seconds and minutes == minutes.to_integral_value() else ("s", seconds)
    whole = count == count.to_integral_value() and 0 <= count < 1000
    words = cardinal(int(count)) if whole else digit_by_digit(format(count, "f"))
    return " ".join(["after", *words, *unit_words(code, singular=count == 1)])


def _place_words(reading: Reading) -> str:
    parts: list[str] = []
    if reading.axis:
        parts.append(axis_words(reading.axis))
    if reading.section is not None:
        parts.append(SECTION_WORDS[reading.section])
    by_ohmmeter = reading.kind is QuantityKind.RESISTANCE_TO_GROUND
    if reading.kind in _KINDS and (reading.terminals is None or by_ohmmeter):
        parts.append(_KINDS[reading.kind])
    if reading.terminals is not None:
        parts.append(terminal_words(reading.terminals))
    return ", ".join(parts)


def statement(reading: Reading) -> str:
    """Say a reading in words without a question, e.g. "X-ray axis, motor alone: two point two gigohms"."""
    place = _place_words(reading)
    value = _value_words(reading) + _voltage_words(reading)
    if reading.elapsed_s is not None:
        value += f" {_time_words(reading.elapsed_s)}"
    text = f"{place}: {value}" if place else value
    return text[0].upper() + text[1:]


def beside_words(circumstances: Iterable[Circumstance], position: str) -> str:
    """Say what is noted beside a reading: "after cleaning, position thirty degrees"; empty for nothing.

    Args:
        circumstances: What holds.
        position: Shaft or carrier position as noted; empty for none.
    """
    parts = [_CIRCUMSTANCES[one] for one in circumstances]
    if position:
        number = position.removesuffix("°")
        words = " ".join(cardinal(int(number))) if number.isdecimal() and len(number) <= 4 else number
        parts.append(f"position {words}{' degrees' if number != position else ''}")
    return ", ".join(parts)


def with_beside(text: str, noted: str) -> str:
    """Add what is noted beside a reading to its statement."""
    return f"{text}, {noted}" if noted else text


def read_back(reading: Reading) -> str:
    """Make the sentence that asks a person to confirm a reading.

    Args:
        reading: Any reading; missing parts are left out.

    Returns:
        E.g. "X-ray axis, motor alone, lead one to ground: two point two gigohms at five hundred volts. Right?"
    """
    return f"{statement(reading)}. Right?"


def value_words(reading: Reading) -> str:
    """Say only the value, for choosing between alternatives: "three four seven zero megohms"."""
    return _value_words(reading)


def symbol_of(reading: Reading) -> str:
    """Give the SI symbol of the reading's unit, empty while unknown."""
    return "" if reading.quantity.unit is None else unit(reading.quantity.unit).symbol
