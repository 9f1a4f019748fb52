"""Absorption and voltage steps in words."""

from __future__ import annotations

from grading.absorption import AbsorptionRatio
from grading.details import Absorption, Ratio
from grading.facts import Fact
from grading.finding import Finding
from grading.prose.reasons import reason_text
from grading.prose.wording import Wording, Writer, detail, first, held, last, need
from grading.steps import ReasonKind
from grading.words import limit_words, measured, number


def _times(found: AbsorptionRatio) -> str:
    return f"{found.later_s:f} s/{found.earlier_s:f} s"


def _shown(found: AbsorptionRatio) -> str:
    if found.value is not None:
        return number(found.value)
    return f"above {number(found.low)}" if found.low > 0 else f"below {number(found.high)}"


def _index_undefined(_: Finding) -> Wording:
    return Wording("polarization index undefined, both values are over range")


def _index(finding: Finding) -> Wording:
    found = detail(finding, Absorption).ratio
    reason = need(finding.reason)
    meets = reason.kind is ReasonKind.INDEX_MEETS_LIMIT
    caveat = f" ({reason_text(reason)})" if meets else f", {reason_text(reason)}"
    return Wording(f"polarization index {_shown(found)} ({_times(found)})", caveat)


def _index_low(finding: Finding) -> Wording:
    found = detail(finding, Absorption).ratio
    return Wording(f"polarization index {_shown(found)} ({_times(found)}), low", held(finding))


def _ratio_undefined(finding: Finding) -> Wording:
    times = _times(detail(finding, Absorption).ratio)
    return Wording(f"absorption ratio {times} undefined, both values are over range")


def _ratio(finding: Finding) -> Wording:
    found = detail(finding, Absorption)
    clause = f"absorption ratio {_shown(found.ratio)} ({_times(found.ratio)})"
    if finding.reason is not None:
        return Wording(clause, f", {reason_text(finding.reason)}")
    band = "" if found.band is None else f", called {found.band} ({need(found.band_limit).cited()})"
    return Wording(clause, band)


_FELL = "the insulation resistance fell while the voltage stayed on"


def _fell(finding: Finding) -> Wording:
    found = detail(finding, Absorption).ratio
    held_against = f"{_times(found)}; {limit_words(need(finding.limit))}"
    indicates = f"this indicates {reason_text(need(finding.reason))}"
    return Wording(_FELL, f", ratio {_shown(found)} ({held_against}); {indicates}")


def _falling(finding: Finding) -> Wording:
    indicates = f"this indicates {reason_text(need(finding.reason))}"
    clause = "the value fell while the test voltage stayed on"
    return Wording(clause, f"; {measured(first(finding))}; {indicates}")


def _values(finding: Finding) -> str:
    """Write both steps: "40.0 MΩ at 250 V, 28.0 MΩ at 500 V"."""
    steps = (first(finding), last(finding))
    return ", ".join(f"{value.quantity.display()} at {need(value.voltage_set):f} V" for value in steps)


def _weakens(finding: Finding) -> Wording:
    drop = number(detail(finding, Ratio).value)
    indicates = f"this indicates {reason_text(need(finding.reason))}"
    clause = f"the insulation weakens as the voltage rises, by {drop} %"
    return Wording(clause, f": {_values(finding)}{held(finding)}; {indicates}")


def _rose(finding: Finding) -> Wording:
    indicates = f"this indicates {reason_text(need(finding.reason))}"
    return Wording("the value rose with the voltage", f", {_values(finding)}; {indicates}")


def _steady(finding: Finding) -> Wording:
    drop = number(detail(finding, Ratio).value)
    clause = f"steady from step to step, {drop} % lower at the higher voltage"
    return Wording(clause, f": {_values(finding)}")


WRITERS: dict[Fact, Writer] = {
    Fact.INDEX: _index,
    Fact.INDEX_LOW: _index_low,
    Fact.INDEX_FELL: _fell,
    Fact.INDEX_UNDEFINED: _index_undefined,
    Fact.RATIO: _ratio,
    Fact.RATIO_FELL: _fell,
    Fact.RATIO_UNDEFINED: _ratio_undefined,
    Fact.FELL_UNDER_VOLTAGE: _falling,
    Fact.WEAKENS_WITH_VOLTAGE: _weakens,
    Fact.ROSE_WITH_VOLTAGE: _rose,
    Fact.STEADY_STEPS: _steady,
}
