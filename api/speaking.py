"""What the tool says aloud: read-backs digit by digit with unit, and questions about what is in doubt."""

from __future__ import annotations

from collections.abc import Sequence

from capture.language.say import digit_by_digit, unit_words
from capture.language.vocabulary import ICAO_LETTERS
from capture.reading import Context, Doubt, Reading
from grading.quantity import Qualifier, QuantityKind, Section

_LETTERS = {letter: word.replace("_", "-") for word, letter in ICAO_LETTERS.items()}
_SECTIONS = {
    Section.THROUGH_CABLE: "through the cable",
    Section.MOTOR_ALONE: "motor alone",
    Section.CABLE_ALONE: "cable alone",
}
_KINDS = {
    QuantityKind.INSULATION_RESISTANCE: "insulation",
    QuantityKind.WINDING_RESISTANCE: "winding",
    QuantityKind.RESISTANCE_TO_GROUND: "ohmmeter",
    QuantityKind.CONTINUITY: "continuity",
}
_BOUNDS = {
    Qualifier.ABOVE: "greater than",
    Qualifier.BELOW: "less than",
    Qualifier.OPEN: "open, over range",
    Qualifier.SHORT: "dead short",
    Qualifier.COLLAPSED: "test voltage not built",
    Qualifier.NONE: "no valid value",
}
_QUESTIONS = {
    Doubt.UNIT_MISSING: "In which unit?",
    Doubt.VALUE_MISSING: "What does it read?",
    Doubt.AXIS_MISSING: "Which axis of this job?",
    Doubt.SECTION_MISSING: "Through the cable, motor alone or cable alone?",
    Doubt.QUANTITY_MISSING: "Insulation, ohmmeter or winding?",
    Doubt.DIGITS_AMBIGUOUS: "The digits can be taken in more than one way.",
    Doubt.TEEN_OR_TY: "That could be teen or ty: say it digit by digit.",
    Doubt.PREFIX_UNSURE: "Milli or mega: say the whole unit.",
    Doubt.DOT_UNSURE: "The decimal point is unsure.",
    Doubt.UNIT_UNSURE: "The unit is unsure.",
    Doubt.IMPLAUSIBLE: "That is outside what this can be.",
    Doubt.UNKNOWN_WORDS: "Some words were not understood.",
    Doubt.LOW_CONFIDENCE: "That was hard to make out.",
    Doubt.NOT_SETTLED: "It has not settled: give the final value.",
    Doubt.RANGE_END_UNKNOWN: "Greater than how much?",
    Doubt.BUILT_VOLTAGE_UNKNOWN: "How many volts did it build?",
    Doubt.CONFLICT: "Voice and photo disagree.",
}


def axis_words(axis: str) -> str:
    """An axis name as spoken: "X-ray axis", "spindle"."""
    if len(axis) == 1 and axis in _LETTERS:
        return f"{_LETTERS[axis]} axis"
    return axis.lower()


def terminal_words(terminals: str) -> str:
    """A test point as spoken: "A1-A2" as "A one to A two", "lead-ground" as "lead to ground"."""
    names = {"PE": "ground", "lead": "lead", "ground": "ground"}
    ends = []
    for end in terminals.split("-"):
        parts = names.get(end) or " ".join(digit_by_digit(c)[0] if c.isdigit() else c for c in end.replace("+", "&"))
        ends.append(f"lead {parts}" if end.isdigit() else parts.replace("&", "and"))
    return " to ".join(ends)


def value_words(reading: Reading) -> str:
    """A value as spoken, digit by digit with its unit: "two point two zero gigohms"."""
    quantity = reading.quantity
    words = [_BOUNDS[quantity.qualifier]] if quantity.qualifier in _BOUNDS else []
    if quantity.digits is not None:
        words += digit_by_digit(quantity.digits)
        words += unit_words(quantity.unit, singular=quantity.digits == "1") if quantity.unit else ["of unknown unit"]
    return " ".join(words) or "no value"


def _volts(volts: object) -> str:
    return " ".join(digit_by_digit(f"{volts}")) + " volts"


def place_words(reading: Reading | Context) -> str:
    """Where a reading belongs: "X-ray axis, motor alone, insulation, lead to ground"."""
    parts = [
        "" if reading.axis is None else axis_words(reading.axis),
        "" if reading.section is None else _SECTIONS[reading.section],
        "" if reading.kind is None else _KINDS.get(reading.kind, reading.kind.value.replace("_", " ")),
        "" if reading.terminals is None else terminal_words(reading.terminals),
    ]
    return ", ".join(part for part in parts if part)


def read_back(reading: Reading) -> str:
    """A whole reading as spoken, without the question."""
    place, value = place_words(reading), value_words(reading)
    text = f"{place}: {value}" if place else value
    if reading.test_voltage_set is not None:
        text += f", set {_volts(reading.test_voltage_set)}"
    if reading.test_voltage_built is not None:
        text += f", built {_volts(reading.test_voltage_built)}"
    if reading.elapsed_s is not None:
        text += f", after {' '.join(digit_by_digit(format(reading.elapsed_s, 'f')))} seconds"
    return _sentence(text)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def question(reading: Reading, doubts: Sequence[Doubt], alternatives: Sequence[Reading]) -> str:
    """Read a reading back and ask about it: "… Right?", or what is in doubt."""
    text = read_back(reading) + "."
    if not doubts:
        return f"{text} Right?"
    asked = " ".join(_QUESTIONS[doubt] for doubt in doubts)
    if alternatives:
        choices = " or ".join(dict.fromkeys(value_words(choice) for choice in (reading, *alternatives)))
        asked += f" Is it {choices}?"
    return f"{text} {asked}"


def heard_context(context: Context) -> str:
    """What is said after words that only told where the work goes on."""
    text = place_words(context)
    if context.test_voltage_set is not None and context.kind is QuantityKind.INSULATION_RESISTANCE:
        text += f", set {_volts(context.test_voltage_set)}"
    return _sentence(f"{text}.") if text else "Nothing understood. Say it again, please."
