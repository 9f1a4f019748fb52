"""What the tester did in words: overshoot, a voltage too high for the part, calibration; and circuits that are live."""

from __future__ import annotations

from grading.details import Calibration, Ceiling, LiveCircuit, Ratio
from grading.facts import Fact
from grading.finding import Finding
from grading.limits import LIMITS
from grading.live import LiveState
from grading.prose.wording import Wording, Writer, detail, first, held, need
from grading.voltage import ChoiceReason
from grading.words import limit_value, limit_words, number

_CHOICE: dict[ChoiceReason, str] = {
    ChoiceReason.MAKER: "the motor maker's test voltage",
    ChoiceReason.RATING_UNKNOWN: (
        f"{limit_value(LIMITS['voltage.machine'])} by {LIMITS['voltage.machine'].document}; rating unknown"
    ),
    ChoiceReason.SMALL_MOTOR: (
        f"practice for motors rated up to {limit_value(LIMITS['voltage.small_rated'])}; more needs the maker's consent"
    ),
    ChoiceReason.CABLE_CLASS: (
        f"{limit_value(LIMITS['voltage.cable_ceiling'])} for a cable with both ends free, practice"
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
    what = "cable" if found.reason is ChoiceReason.CABLE_CLASS else "motor"
    clause = f"tested at {found.selected:f} V, above the {found.highest:f} V chosen for this {what}"
    return Wording(clause, f" ({source})")


def _live(finding: Finding) -> Wording:
    found = detail(finding, LiveCircuit)
    what = "current" if found.current else "voltage"
    shown = first(finding).quantity.display()
    figures = f"; measured {shown}{held(finding)}"
    if found.taken_back:
        return Wording(f"{what} on the circuit", figures, "A later reading of this point shows it dead")
    clause = f"{what} on a circuit that must be dead; no insulation reading of this axis proves a pass"
    if found.state is LiveState.UNKNOWN:
        clause = "the circuit is not proved dead; no insulation reading of this axis proves a pass"
    return Wording(clause, figures)


def _calibration(finding: Finding) -> Wording:
    found = detail(finding, Calibration)
    clause = f"instrument {found.instrument} was out of calibration, due {found.due}, when it measured this"
    return Wording(clause)


WRITERS: dict[Fact, Writer] = {
    Fact.OVERSHOOT: _overshoot,
    Fact.ABOVE_CEILING: _ceiling,
    Fact.OUT_OF_CALIBRATION: _calibration,
    Fact.CIRCUIT_LIVE: _live,
    Fact.NOT_PROVED_DEAD: _live,
}
