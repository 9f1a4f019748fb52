"""Entries that must be settled, in words: rows left out, values that cannot be, and questions."""

from __future__ import annotations

from grading.entries import Impossible, LeftOutRow, LeftOutValue, Question, QuestionCode, Subject
from grading.facts import Fact
from grading.finding import Finding
from grading.prose.wording import Wording, Writer, detail, need
from grading.words import limit_value, limit_words

_SUBJECTS = {
    Subject.READING: "record {name}",
    Subject.AXIS: "what is known of the axis",
    Subject.INSTRUMENT: "instrument {name}",
    Subject.VISIT: "an earlier visit",
}
_SUFFIXES = (("_ohm", " in Ω"), ("_mm2", " in mm²"), ("_percent", " in %"), ("_ma", " in mA"), ("_c", " in °C"),
             ("_m", " in m"), ("_s", " in s"), ("_w", " in W"))  # fmt: skip
_WHY = {
    Impossible.NO_NUMBER: "is no finite number",
    Impossible.NOT_ABOVE_ZERO: "is not above zero",
    Impossible.NEGATIVE: "is negative",
    Impossible.NO_TIME_ZONE: "has no time zone",
}


def field_words(field: str) -> str:
    """Write a field of `grading.measurement` as words with its unit: "rated_power_w" gives "rated power in W".

    Example (as in sentences):
        >>> field_words("core_mm2")
        'core in mm²'
    """
    for ending, unit in _SUFFIXES:
        if field.endswith(ending):
            return field.removesuffix(ending).replace("_", " ") + unit
    return field.replace("_", " ")


def _left_out(finding: Finding) -> Wording:
    row = detail(finding, LeftOutRow)
    whose = "" if row.axis is not None else ", which names no axis and may belong to this one,"
    what = "was left out" if row.whole else "holds a value that was left out"
    return Wording(f"line {row.line}{whose} {what}", "", row.reason)


def _cannot_be(finding: Finding) -> Wording:
    found = detail(finding, LeftOutValue)
    what = _SUBJECTS[found.subject].format(name=found.name)
    given = f"{field_words(found.field)}, {found.given},"
    why = _WHY.get(found.why) or f"is {found.why.value} {limit_value(need(found.bound))}"
    lost = "the reading was left out" if found.subject is Subject.READING else "it was left out"
    return Wording(f"{what}: {given} cannot be, since it {why}; {lost}")


_ASKED: dict[QuestionCode, str] = {
    QuestionCode.MILLI_FOR_MEGA: "{given} is no insulation; was it {meant}?",
    QuestionCode.MEGA_FOR_MILLI: "{given} is no winding; was it {meant}, or is the circuit open?",
    QuestionCode.KILOWATT_FOR_WATT: "rated power {given} is little for this motor; was it {meant}?",
    QuestionCode.WATT_FOR_KILOWATT: "rated power {given} is more than such a motor has; was it {meant}?",
    QuestionCode.FAHRENHEIT: "{field} at {given} would be a workshop's in °F; was it {meant}?",
    QuestionCode.BEYOND_RANGE: "{given} is more than the instrument shows, {shown}; was it {meant}?",
    QuestionCode.BELOW_RESOLUTION: "{given} is less than the instrument can show, {shown}; was it {meant}?",
    QuestionCode.NO_TESTER_DRIVES: "no insulation tester holds its voltage on {given}; was it {meant}?",
    QuestionCode.THOUSANDFOLD: "{given} beside {shown} differs by its unit alone; was it {meant}?",
    QuestionCode.LITTLE_FOR_BRAKE: "{given} is little for the coil of a brake; was it {meant}, or is it shorted?",
    QuestionCode.MOTOR_KIND: "nobody chose the kind of motor; is it {meant}?",
}
_FIELDS = {"winding_c": "the winding", "air_c": "the air", "quantity": "a temperature"}


def question_text(question: Question) -> str:
    """Write a question: "record r7: 0.5 mΩ is no insulation; was it 0.5 MΩ?"."""
    meant = " or ".join(question.candidates).replace("_", " ") or "another unit"
    field = _FIELDS.get(question.field, field_words(question.field))
    text = _ASKED[question.code].format(given=question.given, meant=meant, field=field, shown=question.shown)
    return text if question.record_id is None else f"record {question.record_id}: {text}"


def _asked_about(finding: Finding) -> Wording:
    question = detail(finding, Question)
    bound = "" if question.limit is None else f"Asked about by the {limit_words(question.limit)}"
    return Wording(question_text(question), "", bound)


WRITERS: dict[Fact, Writer] = {
    Fact.ROW_LEFT_OUT: _left_out,
    Fact.CANNOT_BE: _cannot_be,
    Fact.ASKED_ABOUT: _asked_about,
}
