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
        "the parts are good apart and bad together: connector, terminal box, moisture, or a fault that depends on "
        "position"
    ),
    Outcome.MOTOR_AT_LEAST: "the motor at least has failed; the cable {unknown}",
    Outcome.CABLE_AT_LEAST: "the cable at least has failed; the motor {unknown}",
    Outcome.NOT_FOUND: "nothing was found at this position",
    Outcome.WHOLE_CLEARS: "a good whole clears motor and cable at this position",
    Outcome.WHOLE_BAD: "the whole is bad; motor or cable is not yet known",
    Outcome.MOTOR_GOOD: "the motor is good, so it is the cable or the connector",
    Outcome.CABLE_GOOD: "the cable is good, so it is the motor or the connector",
    Outcome.PARTS_GOOD: "both parts are good; together they were not measured",
    Outcome.MOTOR_ONLY: "the motor is good; the cable {unknown}",
    Outcome.CABLE_ONLY: "the cable is good; the motor {unknown}",
    Outcome.CONTRADICTION: "the whole reads better than one of its parts, which cannot be",
    Outcome.NOTHING_MEASURED: "no insulation reading can locate a fault",
    Outcome.CANNOT_TELL: "the readings cannot tell yet",
}


def location_text(location: Location) -> str:
    """Write the outcome of the decision table, without axis and numbers."""
    unknown = "cannot be judged by its reading" if location.unclear else "is not measured"
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
    return Wording("the whole is lower than its parts explain", f"{_parts(finding)}{hidden}")


def _higher(finding: Finding) -> Wording:
    return Wording("the whole is higher than its parts allow", _parts(finding))


def _above_part(finding: Finding) -> Wording:
    found = detail(finding, Consistency)
    figures = f"; measured {span(found.whole)}, the part by itself {span(found.expected)}{held(finding)}"
    return Wording("the whole reads higher than one of its parts, which cannot be", figures)


def _agrees(finding: Finding) -> Wording:
    return Wording("the whole agrees with its parts", _parts(finding))


def _calculated(finding: Finding) -> Wording:
    found = detail(finding, UnmeasuredPart)
    figures = f"; calculated {span(found.interval)}"
    if found.magnified is not None:
        magnified = f"errors magnified {number(found.magnified, 2)} times, {limit_words(found.limit)}"
        figures += f", too uncertain to use ({magnified}): measure it"
    return Wording(f"the {found.part.value} was not measured", figures)


WRITERS: dict[Fact, Writer] = {
    Fact.LOCATED: _located,
    Fact.WHOLE_LOWER: _lower,
    Fact.WHOLE_HIGHER: _higher,
    Fact.WHOLE_ABOVE_PART: _above_part,
    Fact.WHOLE_AGREES: _agrees,
    Fact.PART_CALCULATED: _calculated,
}
