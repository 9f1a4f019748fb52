"""What the tester did in words: overshoot, a voltage too high for the motor, calibration."""

from __future__ import annotations

from grading.details import Calibration, Ceiling, Ratio
from grading.facts import Fact
from grading.finding import Finding
from grading.limits import LIMITS
from grading.prose.wording import Wording, Writer, detail, first, held, need
from grading.voltage import ChoiceReason
from grading.words import limit_value, limit_words, number

_CHOICE: dict[ChoiceReason, str] = {
    ChoiceReason.MAKER: "the motor maker's test voltage",
    ChoiceReason.RATING_UNKNOWN: (
        f"{limit_value(LIMITS['voltage.machine'])} by {LIMITS['voltage.machine'].document}; rating unknown"
    ),
    ChoiceReason.SMALL_MOTOR: (
        f"house rule for motors rated up to {limit_value(LIMITS['voltage.small_rated'])}; "
        "more needs the maker's consent"
    ),
    ChoiceReason.GUIDELINE: "IEEE 43-2013, Table 1",
}


def _overshoot(finding: Finding) -> Wording:
    value, ratio = first(finding), number(detail(finding, Ratio).value)
    built, selected = f"{need(value.voltage_built):f}", f"{need(value.voltage_set):f}"
    figures = f"; measured {built} V with {selected} V selected, {ratio} times{held(finding)}"
    return Wording("the tester built more than it may", figures)


def _ceiling(finding: Finding) -> Wording:
    found = detail(finding, Ceiling)
    source = _CHOICE[found.reason] if finding.limit is None else limit_words(finding.limit)
    clause = f"tested at {found.selected:f} V, above the {found.highest:f} V chosen for this motor"
    return Wording(clause, f" ({source})")


def _calibration(finding: Finding) -> Wording:
    found = detail(finding, Calibration)
    clause = f"instrument {found.instrument} was out of calibration, due {found.due}, when it measured this"
    return Wording(clause)


WRITERS: dict[Fact, Writer] = {
    Fact.OVERSHOOT: _overshoot,
    Fact.ABOVE_CEILING: _ceiling,
    Fact.OUT_OF_CALIBRATION: _calibration,
}
