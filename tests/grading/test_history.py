"""The trend over visits: what is compared, when a series starts anew, and what is foretold (program's limits)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

import pytest

from grading.facts import Fact
from grading.finding import Finding, Urgency, Verdict
from grading.measurement import Visit
from grading.prose.findings import finding_text
from grading.shop import read_profile
from grading.terms.section import Section
from grading.trend import Point, fit
from grading.verdict import grade_axis
from tests.grading.making import METERS, MOTOR, WHOLE, axis, ir

FIRST = dt.datetime(2021, 11, 25, 9, 0, tzinfo=dt.UTC)


def visited(values: Sequence[str], section: Section = WHOLE, notes: dict[int, str] | None = None,
            **now: Any) -> tuple[Finding, ...]:  # fmt: skip
    """Give the findings on the last of yearly visits; `notes` says what was done before a visit."""
    times = [FIRST.replace(year=FIRST.year + i) for i in range(len(values))]
    context = axis(winding_c=40)
    history = [
        Visit(at, (ir(section, text, at=at),), context, (notes or {}).get(i, ""))
        for i, (at, text) in enumerate(zip(times[:-1], values[:-1], strict=True))
    ]
    last = ir(section, values[-1], **({"at": times[-1]} | now))
    return grade_axis([last], context, METERS, history=history).findings


def of(findings: tuple[Finding, ...], rule: str) -> Finding:
    (found,) = [f for f in findings if f.rule == rule]
    return found


@pytest.mark.parametrize(
    ("before", "now", "verdict", "fact", "words"),
    [
        ("4000", "390", Verdict.UNACCEPTABLE, Fact.FELL_A_DECADE, "a decade or more"),
        ("900", "290", Verdict.MARGINAL, Fact.FELL_TO_A_THIRD, "a third or less"),
        ("900", "450", Verdict.MARGINAL, Fact.HALVED, "halved or worse"),
        ("900", "700", Verdict.ACCEPTABLE, Fact.COMPARED_BEFORE, "compared with the visit before"),
        (">4000", "1200", Verdict.MARGINAL, Fact.FELL_TO_A_THIRD, "above 4.00 GΩ on 2021-11-25, factor below 0.3"),
    ],
)
def test_change_since_the_visit_before(before: str, now: str, verdict: Verdict, fact: Fact, words: str) -> None:
    found = of(visited([before, now]), "trend.drop")
    assert (found.verdict, found.fact) == (verdict, fact)
    assert words in finding_text(found)
    if found.margin is not None:
        assert found.margin.ratio is not None
        assert found.margin.ratio <= 1
    assert len(found.record_ids) == 2


def test_a_fall_is_foretold_within_twice_the_record() -> None:
    found = of(visited(["90", "50", "28.0", "17.0", "10.0"]), "trend.limit")
    assert found.urgency is Urgency.WATCH
    assert "95 % band" in finding_text(found)
    assert found.next_step is not None
    # Worked apart: least squares through log10 gives 0.2377 decades a year, 1 MΩ some 4.17 years after the last visit.
    assert "about 4.17 years from now (95 % band 3.80 to 4.59 years" in finding_text(found)
    assert "times 0.579 a year in 5 visits over 4.0 years" in finding_text(found)


def test_beyond_twice_the_record_nothing_is_foretold() -> None:
    found = of(visited(["900", "620", "410", "300", "190"]), "trend.limit")
    assert found.urgency is Urgency.INFORMATION
    assert found.fact is Fact.NOT_REACHED
    assert "nothing is foretold" in finding_text(found)


def test_three_visits_give_a_slope_without_a_band() -> None:
    found = of(visited(["40.0", "10.1", "2.50"]), "trend.limit")
    assert "no band from so few visits" in finding_text(found)


@pytest.mark.parametrize(("values", "fact"), [
    (["500", "520", "480", "530"], Fact.NO_TREND), (["100", "130", "169", "219"], Fact.RISING),
    ([">4000", ">4000", "3900", ], Fact.TREND_TOO_SHORT),
])  # fmt: skip
def test_series_without_a_date(values: list[str], fact: Fact) -> None:
    found = of(visited(values), "trend.limit")
    assert found.fact is fact
    assert found.urgency is Urgency.INFORMATION


def test_over_range_visits_count_as_bounds() -> None:
    found = of(visited([">4000", "900", "420", "190", "85.0"]), "trend.limit")
    assert "over-range values counted as bounds" in finding_text(found)


def test_cleaning_or_an_unexplained_rise_starts_a_new_series() -> None:
    cleaned = visited(["90", "50", "28.0", "900", "880"], notes={3: "cleaned and dried"})
    assert "factor 0.98" in finding_text(of(cleaned, "trend.drop"))
    assert "trend.limit" not in {f.rule for f in cleaned}
    risen = visited(["90", "50", "28.0", "900", "880"])
    assert "trend.limit" not in {f.rule for f in risen}
    fresh = visited(["90", "50"], noted=("after_cleaning",))
    assert "trend.drop" not in {f.rule for f in fresh}


def test_only_like_is_compared_with_like() -> None:
    other_voltage = visited(["900", "450"], test_voltage_set=250)
    assert "trend.drop" not in {f.rule for f in other_voltage}
    early = visited(["900", "450"], elapsed_s=7)
    assert "trend.drop" not in {f.rule for f in early}
    undated = visited(["900", "450"], at=None)
    assert "trend.drop" not in {f.rule for f in undated}


def test_the_motor_alone_is_compared_at_40_degrees() -> None:
    """200 MΩ at 20 °C and 90 MΩ at 32 °C are 152 and 81.1 MΩ at 40 °C: a factor of 0.53, no trigger."""
    then, now = FIRST, FIRST.replace(year=2022)
    history = [Visit(then, (ir(MOTOR, "200", at=then),), axis(winding_c=20))]
    found = of(
        grade_axis([ir(MOTOR, "90.0", at=now)], axis(winding_c=32), METERS, history=history).findings, "trend.drop"
    )
    assert "factor 0.53" in finding_text(found)
    assert found.urgency is Urgency.INFORMATION
    outside = [Visit(then, (ir(MOTOR, "200", at=then),), axis(winding_c=5))]
    findings = grade_axis([ir(MOTOR, "90.0", at=now)], axis(winding_c=32), METERS, history=outside).findings
    assert "trend.drop" not in {f.rule for f in findings}


def test_what_was_measured_before_but_not_now_is_left_alone() -> None:
    history = [Visit(FIRST, (ir(MOTOR, "200", at=FIRST),), axis())]
    findings = grade_axis([ir(WHOLE, "550", at=FIRST.replace(year=2022))], axis(), METERS, history=history).findings
    assert not {f.rule for f in findings} & {"trend.drop", "trend.limit"}


# The line itself, at its edges.


def test_a_level_line_meets_nothing() -> None:
    level = fit([Point(t, 100) for t in range(4)])
    assert (level.slope, level.r_squared, level.reaches(5), level.halving_years) == (0, None, None, None)
    assert not level.has_trend
    assert level.band(5) is None


def test_an_unbounded_band_is_not_given() -> None:
    noisy = fit([Point(t, v) for t, v in enumerate([500, 520, 480, 530])])
    assert noisy.band(5) is None


@pytest.mark.parametrize("points", [
    [Point(0, 1), Point(1, 2)],
    [Point(0, 1), Point(1, 2, over=True), Point(2, 3)],
    [Point(0, 1), Point(1, 0), Point(2, 3)],
    [Point(1, 1), Point(1, 2), Point(1, 3), Point(2, 9, over=True)],
])  # fmt: skip
def test_what_cannot_be_fitted_is_refused(points: list[Point]) -> None:
    with pytest.raises(ValueError, match="A trend needs"):
        fit(points)


def test_a_bound_far_above_the_line_does_not_upset_the_fit() -> None:
    """One over-range point a long way above two exact ones: finite, and the line passes above the bound's side."""
    found = fit([Point(0, 10), Point(1, 10), Point(2, 1e9, over=True), Point(3, 10)])
    assert not found.has_trend
    assert all(abs(x) < 1e6 for x in (found.slope, found.intercept, found.residual))


def test_a_fit_that_has_not_settled_still_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    points = [Point(0, 4000, over=True), Point(1, 900), Point(2, 420), Point(3, 190)]
    settled = fit(points)
    monkeypatch.setattr("grading.trend._MOST_ROUNDS", 1)
    assert fit(points).slope == pytest.approx(settled.slope, abs=0.2)


def test_a_shops_own_bound_is_given_as_a_figure() -> None:
    """The usual words ("to a third or less") stand for the published bound only."""
    shop = read_profile({"limits": {"trend.act": {"value": "0.4"}}})
    then, now = FIRST, FIRST.replace(year=2022)
    history = [Visit(then, (ir(WHOLE, "900", at=then),), axis())]
    verdict = grade_axis([ir(WHOLE, "350", at=now)], axis(), METERS, profile=shop, history=history)
    found = of(verdict.findings, "trend.drop")
    assert found.fact is Fact.FELL_TO_A_THIRD
    assert "fallen to 0.4 times or less" in finding_text(found)
