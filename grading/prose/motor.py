"""The motor alone in words: its value at 40 °C, where none can be given, and the dew point."""

from __future__ import annotations

from grading.details import Climate, Corrected40, Correction, Ohms
from grading.facts import Fact, StatementBasis
from grading.finding import Finding
from grading.measurement import InsulationSystem
from grading.prose.reasons import reason_sentence
from grading.prose.wording import LOW_FOR_KIND, Wording, Writer, detail, first, head_of, held, need, watched
from grading.words import limit_value, limit_words, measured, number, ohms, span

SHOWN_DIGITS = 4
"""Significant digits of a correction factor."""


def _how(found: Correction) -> str:
    if found.assumed_year is not None:
        text = f"{found.system.value} correction, assumed for a motor of {found.assumed_year} (practice)"
    elif found.system is InsulationSystem.UNKNOWN:
        text = "insulation system not known, the lower of both corrections"
    else:
        text = f"{found.system.value} correction"
    if found.factor is None:
        reach = f"{found.lowest_c:f} to {found.highest_c:f} °C"
        return f"{text}; winding temperature not recorded, so anything from {reach}"
    winding = f"{need(found.winding_c):f} ± {need(found.winding_uncertainty_c):f} °C"
    whose = "" if found.winding_own else ", the axis's, not noted with this reading"
    text = f"{text}, K = {number(found.factor, SHOWN_DIGITS)} at {winding}{whose}"
    return text + "".join(f"; {system.value} {number(k, SHOWN_DIGITS)}" for system, k in found.factors)


def _scope(found: Corrected40) -> str:
    """Write where the standard applies by analogy only, or may."""
    least = limit_value(found.scope)
    if found.rated_power_w is None:
        return f"Rated power not recorded; below {least} the standard applies by analogy only"
    if found.rated_power_w >= found.scope.value:
        return ""
    return f"By analogy: the standard covers machines from {least}, this one is rated {found.rated_power_w:f} W"


def _calculated(finding: Finding) -> str:
    """Write the value at 40 °C, how it was corrected, and the limit."""
    found = detail(finding, Corrected40)
    shown = f"at least {ohms(found.interval.low)}" if found.value is None else ohms(found.value)
    return f"calculated {shown} at 40 °C ({_how(found.correction)}; {limit_words(found.limit)})"


def _winding(clause: str, finding: Finding, calculated: str) -> Wording:
    return Wording(clause, f"; {measured(first(finding))}, {calculated}", _scope(detail(finding, Corrected40)))


def _within(finding: Finding) -> Wording:
    return _winding("the winding is within limits at the time of test", finding, _calculated(finding))


def _reduced(finding: Finding) -> Wording:
    return _winding("no fault of the winding shown under reduced conditions", finding, _calculated(finding))


def _below(finding: Finding) -> Wording:
    found = detail(finding, Corrected40)
    most = f"calculated below {ohms(found.interval.high)} at 40 °C{held(finding)}"
    clause = "below the limit for a winding in service"
    return _winding(clause, finding, most if found.value is None else _calculated(finding))


def _undecided(finding: Finding) -> Wording:
    true = f"true value at 40 °C {span(detail(finding, Corrected40).interval)}"
    clause = "the winding's limit at 40 °C cannot be judged"
    return _winding(clause, finding, f"{true}, {_calculated(finding)}")


def _low_for_kind(finding: Finding) -> Wording:
    value = ohms(need(detail(finding, Ohms).value))
    at = " at 40 °C" if finding.basis is StatementBasis.CALCULATED else ""
    return Wording(LOW_FOR_KIND, f"; {value}{at}{watched(finding)}")


def _not_comparable(finding: Finding) -> Wording:
    return Wording(measured(first(finding)), "", reason_sentence(need(finding.reason)))


def _damp(finding: Finding) -> Wording:
    found = detail(finding, Climate)
    winding, dew = f"{need(found.winding_c):f}", number(found.dew_c)
    figures = f"; the winding is at {winding} °C, the dew point of the air is calculated as {dew} °C"
    return Wording("too close to the dew point to judge or correct", figures, head=head_of(finding.place))


def _damp_cable(finding: Finding) -> Wording:
    found = detail(finding, Climate)
    air = f"{need(found.air_c):f} °C and {need(found.humidity_percent):f} %"
    figures = f"; the dew point of the air is calculated as {number(found.dew_c)} °C at {air}"
    return Wording("too close to the dew point to judge", figures, head=head_of(finding.place))


def _damp_air(finding: Finding) -> Wording:
    found = detail(finding, Climate)
    air = f"{need(found.air_c):f} °C and {need(found.humidity_percent):f} %"
    figures = f", calculated as {number(found.dew_c)} °C at {air}; a cold winding can be wet"
    return Wording("the air is near its dew point", figures, "Measure the winding temperature")


WRITERS: dict[Fact, Writer] = {
    Fact.WINDING_WITHIN_LIMITS: _within,
    Fact.WINDING_BELOW_LIMIT: _below,
    Fact.WINDING_UNDECIDED: _undecided,
    Fact.WINDING_REDUCED_CONDITIONS: _reduced,
    Fact.LOW_FOR_KIND_AT_40C: _low_for_kind,
    Fact.NOT_COMPARABLE: _not_comparable,
    Fact.WINDING_NEAR_DEW_POINT: _damp,
    Fact.CABLE_NEAR_DEW_POINT: _damp_cable,
    Fact.AIR_NEAR_DEW_POINT: _damp_air,
}
