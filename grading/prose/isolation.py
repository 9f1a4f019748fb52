"""Where the fault is, in words; the whole against its parts, and the part that was not measured."""

from __future__ import annotations

from grading.details import Consistency, Located, UnmeasuredPart
from grading.facts import Fact
from grading.finding import Finding
from grading.isolation import Location, Outcome
from grading.prose.wording import Wording, Writer, detail, held, need
from grading.terms.section import section_in_full
from grading.words import limit_words, measured, number, span

_OUTCOMES: dict[Outcome, str] = {
    Outcome.MOTOR_FAILED: "the motor's winding-to-frame insulation has failed",
    Outcome.CABLE_FAILED: "the cable is the failed part",
    Outcome.BOTH_FAILED: "motor and cable have both failed; look for a common cause such as coolant",
    Outcome.APART_GOOD: (
        "motor and cable are good by themselves and bad together: look at connector, terminal box and moisture, or for "
        "a fault that shows only in some positions"
    ),
    Outcome.MOTOR_AT_LEAST: "the motor has failed; the cable {unknown}",
    Outcome.CABLE_AT_LEAST: "the cable has failed; the motor {unknown}",
    Outcome.NOT_FOUND: "motor and cable, together and apart, meet their limits at the positions tested",
    Outcome.WHOLE_CLEARS: (
        "measured together, motor and cable are good at the position tested, so neither leaks to earth there"
    ),
    Outcome.WHOLE_BAD: "motor and cable together are bad; which of the two is not known yet",
    Outcome.MOTOR_GOOD: "the motor is good, so it is the cable or the connector",
    Outcome.CABLE_GOOD: "the cable is good, so it is the motor or the connector",
    Outcome.PARTS_GOOD: "motor and cable are good by themselves; together they were not measured",
    Outcome.MOTOR_ONLY: "the motor is good; the cable {unknown}",
    Outcome.CABLE_ONLY: "the cable is good; the motor {unknown}",
    Outcome.CONTRADICTION: (
        "motor and cable together read better than one of them alone, which cannot be: one reading is wrong"
    ),
    Outcome.NOTHING_MEASURED: "no insulation reading can locate a fault",
    Outcome.CANNOT_TELL: "the readings cannot tell yet",
}


def location_text(location: Location) -> str:
    """Write the outcome of the decision table, without axis and numbers."""
    read = "is not known, since not every core was tested" if location.cores_left else "was not measured"
    unknown = "cannot be judged by its reading" if location.unclear else read
    text = _OUTCOMES[location.outcome].format(unknown=unknown)
    return f"{text}; measure the {location.measure_next.value} again" if location.unclear else text


def _located(finding: Finding) -> Wording:
    found = detail(finding, Located)
    values = "; ".join(f"{section_in_full(v.section)} {measured(v)}" for v in finding.values)
    return Wording(location_text(found.location), "", f"{values} ({limit_words(found.floor)})")


def _parts(finding: Finding) -> str:
    found = detail(finding, Consistency)
    return f"; measured {span(found.whole)}, calculated from the parts {span(found.expected)}"


def _lower(finding: Finding) -> Wording:
    path = span(need(detail(finding, Consistency).path))
    hidden = f"; a third path of {path} exists in the connection (calculated)"
    return Wording(
        "motor and cable together read lower than the two by themselves explain", f"{_parts(finding)}{hidden}"
    )


def _higher(finding: Finding) -> Wording:
    return Wording("motor and cable together read higher than the two by themselves allow", _parts(finding))


def _above_part(finding: Finding) -> Wording:
    found = detail(finding, Consistency)
    figures = f"; measured {span(found.whole)}, the part by itself {span(found.expected)}{held(finding)}"
    return Wording("motor and cable together read higher than one of them alone, which cannot be", figures)


def _agrees(finding: Finding) -> Wording:
    return Wording("the value of motor and cable together is what the two by themselves give", _parts(finding))


def _calculated(finding: Finding) -> Wording:
    found = detail(finding, UnmeasuredPart)
    figures = f"; calculated {span(found.interval)}"
    if found.magnified is not None:
        magnified = f"errors magnified {number(found.magnified, 2)} times, {limit_words(found.limit)}"
        figures = f"; too uncertain to use ({magnified}): measure it"
    return Wording(f"the {found.part.value} by itself, as the other readings give it", figures)


WRITERS: dict[Fact, Writer] = {
    Fact.LOCATED: _located,
    Fact.WHOLE_LOWER: _lower,
    Fact.WHOLE_HIGHER: _higher,
    Fact.WHOLE_ABOVE_PART: _above_part,
    Fact.WHOLE_AGREES: _agrees,
    Fact.PART_CALCULATED: _calculated,
}
