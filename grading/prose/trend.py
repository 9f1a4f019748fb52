"""The trend over visits in words."""

from __future__ import annotations

from grading.details import Change, Course
from grading.facts import Fact
from grading.finding import Finding
from grading.limits import LIMITS
from grading.prose.wording import Wording, Writer, detail, held, need
from grading.words import limit_value, limit_words, number, ohms


def _change(finding: Finding) -> str:
    found = detail(finding, Change)
    before = f"{'above ' if found.before_over else ''}{ohms(found.before)}"
    factor = f"factor {'below ' if found.before_over else ''}{number(found.factor, 2)}"
    return f"{ohms(found.now)} now, {before} on {found.on}, {factor}"


def _fell(clause: str) -> Writer:
    """Write a fall; a shop's own bound is given as a figure, since the usual words stand for the published one."""

    def write(finding: Finding) -> Wording:
        limit = need(finding.limit)
        published = limit.value == LIMITS[limit.id].value
        said = clause if published else f"fallen to {limit_value(limit)} times or less"
        return Wording(said, f"; {_change(finding)}{held(finding)}")

    return write


def _compared(finding: Finding) -> Wording:
    return Wording("compared with the visit before", f", {_change(finding)}")


def _warmer(finding: Finding) -> Wording:
    found = detail(finding, Change)
    warm = f"{need(found.before_c):f} °C then and {need(found.now_c):f} °C now"
    return Wording("lower than at the visit before, as its temperature explains", f", {_change(finding)}, {warm}")


def _visits(found: Course) -> str:
    bounds = ", over-range values counted as bounds" if found.bounds else ""
    return f"{found.visits} visits over {number(found.years, 2)} years{bounds}"


def _too_short(_: Finding) -> Wording:
    return Wording("too few values within range for a trend")


def _no_trend(finding: Finding) -> Wording:
    return Wording("no trend", f" in {_visits(detail(finding, Course))}")


def _rising(finding: Finding) -> Wording:
    return Wording("rising", f" in {_visits(detail(finding, Course))}")


def _falling(found: Course) -> str:
    return f", times {number(need(found.yearly_factor))} a year in {_visits(found)}"


def _not_reached(finding: Finding) -> Wording:
    found = detail(finding, Course)
    limit = need(found.limit)
    within = f"{limit_value(limit)} is not reached within {number(need(found.horizon))} years"
    record = f"{need(found.horizon_factor):f} times the record"
    return Wording(
        "falling", f"{_falling(found)}; {within}, {record}, beyond which nothing is foretold ({limit_words(limit)})"
    )


def _forecast(finding: Finding) -> Wording:
    found = detail(finding, Course)
    limit = need(found.limit)
    spread = "no band from so few visits"
    if found.band is not None:
        spread = (
            f"{limit_value(LIMITS['trend.confidence'])} band {number(found.band[0])} to {number(found.band[1])} years"
        )
    reached = f"{limit_value(limit)} is reached in about {number(need(found.reached))} years from now"
    figures = f"{_falling(found)}; this indicates that {reached} ({spread}; {limit_words(limit)})"
    return Wording("falling", figures)


WRITERS: dict[Fact, Writer] = {
    Fact.FELL_A_DECADE: _fell("fallen by a decade or more"),
    Fact.FELL_TO_A_THIRD: _fell("fallen to a third or less"),
    Fact.HALVED: _fell("halved or worse"),
    Fact.COMPARED_BEFORE: _compared,
    Fact.TEMPERATURE_EXPLAINS: _warmer,
    Fact.TREND_TOO_SHORT: _too_short,
    Fact.NO_TREND: _no_trend,
    Fact.RISING: _rising,
    Fact.NOT_REACHED: _not_reached,
    Fact.FORECAST: _forecast,
}
