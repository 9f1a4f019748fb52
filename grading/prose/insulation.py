"""Insulation readings in words: held against a limit, missing, before and after cleaning, and leads kept out."""

from __future__ import annotations

from grading.details import BesideCircuit, ByLength, Cleaned, CollapseEstimate, Names, Ohms, TrueValue, VoltageWanted
from grading.facts import Fact
from grading.finding import Conformity, Finding, Margin
from grading.prose.reasons import reason_text
from grading.prose.wording import (
    LOW_FOR_KIND,
    Wording,
    Writer,
    detail,
    first,
    held,
    held_clause,
    last,
    measured_clause,
    need,
    watched,
)
from grading.terms.component import COMPONENT_WORDS
from grading.words import limit_value, measured, number, ohms, percent, span

_CONFORMITY: dict[Conformity, str] = {
    Conformity.CONDITIONAL_PASS: "conditional pass",
    Conformity.CONDITIONAL_FAIL: "conditional fail",
}


def _decision(margin: Margin | None) -> str:
    """Write the decision rule where it does not simply say pass or fail."""
    if margin is None or margin.probability is None or margin.conformity not in _CONFORMITY:
        return ""
    word = _CONFORMITY[margin.conformity]
    return f"Decision rule: {word}, probability of meeting the limit {percent(margin.probability)}"


def _guard_band(finding: Finding) -> Wording:
    clause = "inside the guard band just above the limit"
    return Wording(clause, f"; {measured(first(finding))}{held(finding)}", _decision(finding.margin))


def _not_built(finding: Finding) -> Wording:
    found = detail(finding, TrueValue)
    estimate = "" if found.estimate is None else f", {_estimate(found.estimate)}"
    clause = "the tester could not build its test voltage, because the insulation conducts"
    indicates = f"which indicates {span(found.interval)}{estimate}"
    return Wording(clause, f"; {measured(first(finding))}, {indicates}{held(finding)}")


def _estimate(found: CollapseEstimate) -> str:
    if found.own_current:
        text = f"estimated {ohms(found.interval.low)} from the tester's {number(found.least_ma)} mA"
    else:
        least, most = f"{found.least_ma:f}", f"{found.most_ma:f}"
        text = f"estimated {span(found.interval)} from the {least} to {most} mA that a tester drives"
    if found.implied_ma is None:
        return text
    fits = "fits" if found.fits else "does not fit"
    return f"{text}; the value shown means {number(found.implied_ma)} mA, which {fits}"


def _too_close(finding: Finding) -> Wording:
    true = span(detail(finding, TrueValue).interval)
    figures = f"; {measured(first(finding))}, true value {true}{held(finding)}"
    return Wording("too close to the limit to tell", figures, _decision(finding.margin))


def _cannot_tell(finding: Finding) -> Wording:
    figures = f"; {measured(first(finding))} ({reason_text(need(finding.reason))}){held(finding)}"
    return Wording("this bound cannot tell", figures, _decision(finding.margin))


def _in_doubt(finding: Finding) -> Wording:
    return Wording(reason_text(need(finding.reason)), f"; {measured(first(finding))}{held(finding)}")


def _screening(finding: Finding) -> Wording:
    wanted = detail(finding, VoltageWanted).wanted
    return Wording("screening step", f"; {measured(first(finding))}", f"The reading at {wanted:f} V judges")


def _voltage_too_low(finding: Finding) -> Wording:
    found = detail(finding, VoltageWanted)
    used = "the test voltage was not recorded" if found.used is None else f"{found.used:f} V is a lower voltage"
    clause = f"no fault shown, but {used} and the limit holds at {found.wanted:f} V"
    return Wording(clause, f"; {measured(first(finding))}{held(finding)}")


def _low_for_kind(finding: Finding) -> Wording:
    may_be = detail(finding, Ohms).value
    low = "" if may_be is None else f", which indicates that motor or cable may be as low as {ohms(may_be)}"
    return Wording(LOW_FOR_KIND, f"; {measured(first(finding))}{low}{watched(finding)}")


def _below_guidance(finding: Finding) -> Wording:
    return Wording("lower than a sound cable usually reads", f"; {measured(first(finding))}{watched(finding)}")


def _before_cleaning(finding: Finding) -> Wording:
    return Wording(f"{measured(first(finding))} before cleaning or repair")


def _no_value(finding: Finding) -> Wording:
    return Wording(f"no value, {reason_text(need(finding.reason))}")


def _no_test(_: Finding) -> Wording:
    return Wording("no insulation test was recorded; an ohmmeter cannot replace one")


def _not_one_minute(finding: Finding) -> Wording:
    clause = f"not a one-minute value, {reason_text(need(finding.reason))}"
    return Wording(clause, f"; {measured(first(finding))}")


def _auxiliary(finding: Finding) -> Wording:
    names = ", ".join(detail(finding, Names).names)
    return Wording(f"an auxiliary lead was under test voltage ({names})", f"; {measured(first(finding))}")


def _length(finding: Finding) -> Wording:
    found = detail(finding, ByLength)
    shown = f"at least {ohms(found.least)}" if found.value is None else ohms(found.value)
    warm = "" if found.air_c is None else f", at {found.air_c:f} °C of the air"
    figures = f" times a kilometre ({found.length_m:f} m{warm}); {measured(first(finding))}"
    caveat = "Only the cable maker's own curve corrects its temperature for certain"
    if found.factor is not None:
        least, value = found.least * found.factor, None if found.value is None else found.value * found.factor
        brought = f"at least {ohms(least)}" if value is None else f"about {ohms(value)}"
        rule = f"it halves with every {limit_value(need(found.halving))}, {need(found.halving).origin.value}"
        caveat = f"At {limit_value(need(found.reference))} that is {brought} ({rule}). {caveat}"
    return Wording(f"calculated {shown}", figures, caveat)


def _beside(clause: str) -> Writer:
    """Write what was found on a circuit beside the power circuit, by its name."""

    def write(finding: Finding) -> Wording:
        name = COMPONENT_WORDS[detail(finding, BesideCircuit).component]
        return Wording(clause.format(name=name), f"; {measured(first(finding))}{held(finding)}")

    return write


def _cleaned(finding: Finding) -> str:
    before = detail(finding, Cleaned).before
    return f"; {measured(first(finding))} before ({span(before)}), {measured(last(finding))} after"


def _helped(finding: Finding) -> Wording:
    better = number(detail(finding, Cleaned).times_better, 2)
    clause = f"at least {better} times better after cleaning or drying"
    return Wording(clause, _cleaned(finding), f"This indicates {reason_text(need(finding.reason))}")


def _unchanged(finding: Finding) -> Wording:
    reason = f"This indicates {reason_text(need(finding.reason))}"
    return Wording("hardly changed by cleaning or drying", _cleaned(finding), reason)


def _compared(finding: Finding) -> Wording:
    return Wording("before and after cleaning or drying", _cleaned(finding))


WRITERS: dict[Fact, Writer] = {
    Fact.WITHIN_LIMITS: held_clause("within limits at the time of test"),
    Fact.IN_GUARD_BAND: _guard_band,
    Fact.BELOW_LIMIT: held_clause("below the limit"),
    Fact.VOLTAGE_NOT_BUILT: _not_built,
    Fact.TOO_CLOSE: _too_close,
    Fact.BOUND_CANNOT_TELL: _cannot_tell,
    Fact.IN_DOUBT: _in_doubt,
    Fact.SCREENING_STEP: _screening,
    Fact.VOLTAGE_TOO_LOW: _voltage_too_low,
    Fact.LOW_FOR_KIND: _low_for_kind,
    Fact.BELOW_CABLE_GUIDANCE: _below_guidance,
    Fact.NO_VALUE: _no_value,
    Fact.NO_INSULATION_TEST: _no_test,
    Fact.PHASES_CONDUCT: measured_clause("phase to phase conducts, by links that are in or by a fault"),
    Fact.LEADS_JOINED: measured_clause("lead to lead, where the winding joins the leads"),
    Fact.BEFORE_CLEANING: _before_cleaning,
    Fact.EARLIER_VALUE: measured_clause("earlier value of the same test"),
    Fact.NOT_ONE_MINUTE: _not_one_minute,
    Fact.AUXILIARY_UNDER_VOLTAGE: _auxiliary,
    Fact.CABLE_BY_LENGTH: _length,
    Fact.LENGTH_NOT_KNOWN: measured_clause("the shop's limit goes by the cable's length, which is not on record"),
    Fact.BESIDE_BELOW_FLOOR: _beside("the {name} leaks below its limit; this says nothing of the winding"),
    Fact.BESIDE_UNDECIDED: _beside("too close to the limit of the {name} to tell"),
    Fact.BESIDE_ABOVE_FLOOR: _beside("the {name} was within its limit at the time of test"),
    Fact.BESIDE_MEASURED: _beside("reading of the {name}, held against no limit"),
    Fact.BESIDE_OPEN: _beside("the circuit of the {name} is open"),
    Fact.BESIDE_CLOSED: _beside("the circuit of the {name} is closed"),
    Fact.CLEANING_HELPED: _helped,
    Fact.CLEANING_CHANGED_NOTHING: _unchanged,
    Fact.CLEANING_COMPARED: _compared,
}
