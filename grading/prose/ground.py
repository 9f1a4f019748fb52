"""The ohmmeter to earth in words, by itself and against the insulation tester."""

from __future__ import annotations

from grading.details import Polarity, Ratio
from grading.facts import Fact
from grading.finding import Finding
from grading.prose.reasons import reason_text
from grading.prose.wording import Wording, Writer, detail, first, held, held_clause, last, measured_clause, need
from grading.words import measured, number, ohms


def _values(finding: Finding) -> str:
    return f"; ohmmeter {first(finding).quantity.display()}, insulation tester {measured(last(finding))}"


def _indicates(finding: Finding) -> str:
    return f"This indicates {reason_text(need(finding.reason))}"


def _no_path(finding: Finding) -> Wording:
    clause = "no leak to earth shows at the few volts of an ohmmeter"
    return Wording(clause, f"; {measured(first(finding))}", "That is no insulation test")


def _as_far(finding: Finding) -> Wording:
    return Wording("both instruments agree as far as their ranges go", _values(finding))


def _agree(finding: Finding) -> Wording:
    return Wording("both instruments agree", _values(finding))


def _agree_within(finding: Finding) -> Wording:
    factor = number(detail(finding, Ratio).value)
    return Wording(f"both instruments agree within a factor of {factor}", _values(finding))


def _disagree(finding: Finding) -> Wording:
    factor = number(detail(finding, Ratio).value, 2)
    clause = f"the instruments disagree by a factor of {factor} or more"
    cause = "" if finding.reason is None else _indicates(finding)
    return Wording(clause, f"{_values(finding)}{held(finding)}", cause)


def _under_voltage(finding: Finding) -> Wording:
    governs = f"{_indicates(finding)}; the insulation test governs"
    return Wording("the fault conducts only under voltage", _values(finding), governs)


def _polarity(finding: Finding) -> Wording:
    found = detail(finding, Polarity)
    figures = f", {ohms(found.straight)} and reversed {ohms(found.reversed)}"
    indicates = f"this indicates {reason_text(need(finding.reason))}"
    return Wording("the value depends on polarity", f"{figures}; {indicates}")


WRITERS: dict[Fact, Writer] = {
    Fact.NO_PATH: _no_path,
    Fact.DEAD_SHORT: measured_clause("as good as connected to the frame (dead short)"),
    Fact.PATH_TO_EARTH: held_clause("a leak to earth shows already at the few volts of an ohmmeter"),
    Fact.FINITE_VALUE: measured_clause(
        "a value where the ohmmeter should show over range, which means that something leaks to earth"
    ),
    Fact.METERS_AGREE_AS_FAR: _as_far,
    Fact.METERS_AGREE: _agree,
    Fact.METERS_AGREE_WITHIN: _agree_within,
    Fact.METERS_DISAGREE: _disagree,
    Fact.CONDUCTS_UNDER_VOLTAGE: _under_voltage,
    Fact.DEPENDS_ON_POLARITY: _polarity,
}
