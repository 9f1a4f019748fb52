"""What the tool says aloud: read-backs and questions about what is in doubt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from capture.expectation import Asked
from capture.language.readback import statement, value_words, volts_words, with_beside
from capture.reading import Context, Doubt, Reading
from grading.terms.quantity import Qualifier, Quantity, QuantityKind

_QUESTIONS = {
    Doubt.UNIT_MISSING: "In which unit?",
    Doubt.VALUE_MISSING: "What does it read?",
    Doubt.AXIS_MISSING: "Which axis of this job?",
    Doubt.PLACE_UNSURE: "Is that the axis and the part it was measured on?",
    Doubt.NOTES_UNSURE: "Is what is noted beside it of this value?",
    Doubt.SECTION_MISSING: "Through the cable, motor alone or cable alone?",
    Doubt.QUANTITY_MISSING: "Insulation, ohmmeter or winding resistance?",
    Doubt.DIGITS_AMBIGUOUS: "The digits can be taken in more than one way.",
    Doubt.TEEN_OR_TY: "That could be teen or ty: say it digit by digit.",
    Doubt.PREFIX_UNSURE: "Milli or mega: say the whole unit.",
    Doubt.DOT_UNSURE: "The decimal point is unsure.",
    Doubt.UNIT_UNSURE: "The unit is unsure.",
    Doubt.UNUSUAL: "This meter seldom shows that: look at point, sign and unit again.",
    Doubt.IMPLAUSIBLE: "That is outside what this can be.",
    Doubt.UNKNOWN_WORDS: "Some words were not understood.",
    Doubt.LOW_CONFIDENCE: "That was hard to make out: say it again, or take a photo.",
    Doubt.NOT_SETTLED: "It has not settled: give the final value.",
    Doubt.RANGE_END_UNKNOWN: "Greater than how much?",
    Doubt.BUILT_VOLTAGE_UNKNOWN: "How many volts did it build?",
    Doubt.CONTRADICTED: "Both cannot be true: say the right value again, or say both to keep both.",
    Doubt.CONFLICT: "Voice and photo disagree.",
}

_ANSWERED_BY = {
    Doubt.UNIT_MISSING: Asked.UNIT,
    Doubt.UNIT_UNSURE: Asked.UNIT,
    Doubt.PREFIX_UNSURE: Asked.UNIT,
    Doubt.AXIS_MISSING: Asked.PLACE,
    Doubt.SECTION_MISSING: Asked.PLACE,
    Doubt.PLACE_UNSURE: Asked.PLACE,
    Doubt.QUANTITY_MISSING: Asked.PLACE,
    Doubt.BUILT_VOLTAGE_UNKNOWN: Asked.VOLTAGE,
}
"""What answers each question; all others are answered by the value, said again."""

NOT_UNDERSTOOD = "Nothing understood. Say it again, please."


def question(
    reading: Reading, doubts: Sequence[Doubt], alternatives: Sequence[Reading], *, twice: bool = False, noted: str = ""
) -> str:
    """Read a reading back and ask about it: "... Right?", "... Again?", or what is in doubt."""
    text = with_beside(statement(reading), noted)
    return f"{text}. {asked_about(reading, doubts, alternatives, twice=twice)}"


def asked_about(
    reading: Reading, doubts: Sequence[Doubt], alternatives: Sequence[Reading], *, twice: bool = False
) -> str:
    """Ask whether a reading is right, or to say it again where it is to be said `twice`, or what is in doubt."""
    if not doubts:
        return "Again?" if twice else "Right?"
    asked = " ".join(_QUESTIONS[doubt] for doubt in doubts)
    choices = list(dict.fromkeys(value_words(choice) for choice in (reading, *alternatives)))
    return asked + (f" Is it {' or '.join(choices)}?" if len(choices) > 1 else "")


def answered_by(doubts: Iterable[Doubt]) -> Asked:
    """Tell what a read-back can be answered with: its first question is what a person answers first."""
    return next((_ANSWERED_BY.get(doubt, Asked.VALUE) for doubt in doubts), Asked.CONFIRMATION)


def heard_context(context: Context, before: Context | None = None) -> str:
    """Say where the work goes on after words that only told that: the place, and what changed about the test.

    Args:
        context: What holds now.
        before: What held before; None to say all of it.
    """
    old = before or Context()
    moved = context.terminals != old.terminals or context.kind is not old.kind
    nothing = Reading(context.kind, Quantity(None, None, Qualifier.NONE), context.axis, context.section)
    place, colon, _ = statement(
        replace(nothing, terminals=context.terminals) if moved else replace(nothing, kind=None)
    ).rpartition(":")
    voltage, insulation = context.test_voltage_set, context.kind is QuantityKind.INSULATION_RESISTANCE
    if insulation and voltage is not None and (moved or voltage != old.test_voltage_set):
        named = "" if place.endswith("insulation") else "insulation, "
        place += f"{', ' if place else ''}{named}set {volts_words(voltage)}"
    return f"{place}." if colon or place else NOT_UNDERSTOOD
