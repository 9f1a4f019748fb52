"""The read-back in its short form, for somebody who hears it for the hundredth time: "Z motor U, one point eight gig.".

Digits are said one by one, except in numbers none of whose words sounds like another's (`five hundred`). What is said
can be heard again: the parser gives the same value, unit and bound.
"""

from __future__ import annotations

from collections.abc import Sequence

from capture.language.numbers import TWINS
from capture.language.prompts import asked_about
from capture.language.readback import axis_words, terminal_words, value_words, with_beside
from capture.language.say import cardinal, digit_by_digit
from capture.reading import Doubt, Reading
from grading.terms.quantity import Qualifier, QuantityKind
from grading.terms.section import Section

_SECTIONS = {
    Section.THROUGH_CABLE: "through cable",
    Section.MOTOR_ALONE: "motor",
    Section.CABLE_ALONE: "cable",
}
_UNITS = {"MOhm": "meg", "GOhm": "gig", "Ohm": "ohms", "kOhm": "kilohms"}
_BOUNDS = {Qualifier.ABOVE: "over ", Qualifier.BELOW: "under "}


def short_value(reading: Reading) -> str:
    """Say only the value, as short as it can be understood: "one point eight gig"."""
    quantity = reading.quantity
    if quantity.digits is None or quantity.unit not in _UNITS or quantity.qualifier is Qualifier.COLLAPSED:
        return value_words(reading)
    return f"{_BOUNDS.get(quantity.qualifier, '')}{_number(quantity.digits)} {_UNITS[quantity.unit]}"


def _number(digits: str) -> str:
    if digits.isdigit() and not digits.startswith("0") and len(digits) <= 4:
        words = cardinal(int(digits))
        # "Five hundred fifty" and "five hundred fifteen" are told apart by one consonant: digits then.
        if len(words) <= 2 and not set(words) & set(TWINS):
            return " ".join(words)
    return " ".join(digit_by_digit(digits))


def short_statement(reading: Reading) -> str:
    """Say where and what in as few words as tell it apart; the test voltage only where it was not reached."""
    axis = axis_words(reading.axis).removesuffix(" axis") if reading.axis else ""
    where = [axis] if axis else []
    if reading.section is not None:
        where.append(_SECTIONS[reading.section])
    if reading.kind is QuantityKind.RESISTANCE_TO_GROUND:  # else "U, two meg" could be of either instrument
        where.append("ohmmeter")
    if reading.terminals is not None:
        where.append(terminal_words(reading.terminals).removesuffix(" to ground") or "all leads")
    volts, built = reading.test_voltage_set, reading.test_voltage_built
    failed = volts is not None and built is not None and built < volts
    value = short_value(reading) + (f", built {_number(format(built, 'f'))} volts" if failed and built else "")
    text = f"{' '.join(where)}, {value}" if where else value
    return text[:1].upper() + text[1:]


def short_question(
    reading: Reading, doubts: Sequence[Doubt], alternatives: Sequence[Reading], *, twice: bool = False, noted: str = ""
) -> str:
    """Read a reading back in short form and ask about it: "... Right?", "... Again?", or what is in doubt."""
    text = with_beside(short_statement(reading), noted)
    return f"{text}. {asked_about(reading, doubts, alternatives, twice=twice)}"
