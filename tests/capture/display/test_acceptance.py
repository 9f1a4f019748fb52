"""Accepting and refusing one display: a unit in doubt is asked about, digits and point in doubt are refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from capture.display import acceptance, refusal
from capture.display.acceptance import decide
from capture.display.confidence import ConfidenceHead
from capture.display.features import DisplayLooks
from capture.reading import Doubt
from grading.terms.quantity import Qualifier
from tests.capture.display.test_confidence import evidence, shown


@pytest.fixture(name="probabilities")
def _probabilities(monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """Set probabilities by hand, with thresholds of 0.95; how likely a made-up display is right is no matter."""
    probabilities = {"value": 0.9999, "dot": 0.9999, "unit": 0.9999}

    def given(_: DisplayLooks) -> dict[str, float]:
        return dict(probabilities)

    monkeypatch.setattr(acceptance, "probabilities", given)
    monkeypatch.setattr(
        acceptance, "calibration", lambda: {name: ConfidenceHead((), 0.0, 0.95) for name in probabilities}
    )
    return probabilities


def test_confident_in_everything_is_accepted_without_a_doubt(probabilities: dict[str, float]) -> None:
    reading = decide(evidence(shown("34.70")))
    assert (reading.accepted, reading.reason, reading.doubts) == (True, "", ())
    assert (reading.quantity.digits, reading.quantity.unit) == ("34.70", "MOhm")
    assert reading.confidence == pytest.approx(probabilities, abs=1e-3)


def test_a_display_without_a_unit_is_accepted_and_the_unit_asked_for(probabilities: dict[str, float]) -> None:
    probabilities["unit"] = 0.0
    reading = decide(evidence(shown("34.70", None)))
    assert (reading.accepted, reading.reason) == (True, "")
    assert reading.doubts == (Doubt.UNIT_MISSING,)
    assert (reading.quantity.digits, reading.quantity.unit) == ("34.70", None)
    assert reading.confidence["unit"] == 0.0


@pytest.mark.parametrize(
    ("probability", "unit", "doubt"), [(0.8, "MOhm", Doubt.UNIT_UNSURE), (0.3, None, Doubt.UNIT_MISSING)]
)
def test_a_doubtful_unit_is_proposed_only_if_likely(
    probabilities: dict[str, float], probability: float, unit: str | None, doubt: Doubt
) -> None:
    probabilities["unit"] = probability
    reading = decide(evidence(shown("34.70")))
    assert reading.accepted
    assert reading.quantity.unit == unit
    assert reading.doubts == (doubt,)


def test_over_range_without_a_unit_asks_for_both(probabilities: dict[str, float]) -> None:
    probabilities["unit"] = 0.0
    reading = decide(evidence(shown("0L", None)))
    assert reading.accepted
    assert reading.quantity.qualifier is Qualifier.ABOVE
    assert set(reading.doubts) == {Doubt.UNIT_MISSING, Doubt.RANGE_END_UNKNOWN}


def test_dashes_need_no_unit(probabilities: dict[str, float]) -> None:
    probabilities["unit"] = 0.0
    reading = decide(evidence(shown("----", None)))
    assert (reading.accepted, reading.doubts) == (True, ())


@pytest.mark.parametrize(
    ("head", "text", "reasons", "doubt"),
    [
        ("dot", "34.70", (refusal.POINT_UNSURE,), Doubt.DOT_UNSURE),
        ("value", "34.70", (refusal.DIGITS_UNSURE, refusal.BLUR), Doubt.DIGITS_AMBIGUOUS),
    ],
)
def test_digits_or_point_in_doubt_are_refused(
    probabilities: dict[str, float], head: str, text: str, reasons: tuple[str, ...], doubt: Doubt
) -> None:
    probabilities[head] = 0.5
    reading = decide(evidence(shown(text)))
    assert not reading.accepted
    assert reading.reason in reasons
    assert reading.doubts == (doubt,)


def test_a_point_in_over_range_says_nothing(probabilities: dict[str, float]) -> None:
    probabilities["dot"] = 0.1
    assert decide(evidence(shown("0L"))).accepted


@pytest.mark.parametrize(
    ("text", "accepted"), [("07", False), ("0070", False), ("00412", True), ("0.7", True), ("0", True)]
)
def test_zeros_in_front_are_a_lost_point_but_for_counters(
    probabilities: dict[str, float], text: str, accepted: bool
) -> None:
    reading = decide(evidence(shown(text)))
    assert probabilities["dot"] > 0.99
    assert reading.accepted is accepted


@pytest.mark.parametrize(("text", "accepted"), [(".8", False), ("8.", False), ("-.8", False), ("0.8", True)])
def test_a_point_before_or_behind_all_digits_is_in_doubt(
    probabilities: dict[str, float], text: str, accepted: bool
) -> None:
    """A speck, half a colon, or a number that goes on beyond what is seen. Practice, no source."""
    reading = decide(evidence(shown(text)))
    assert probabilities["dot"] > 0.99
    assert reading.accepted is accepted
    assert accepted or reading.reason == refusal.POINT_UNSURE


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"cut": True}, refusal.CUT_OFF),
        ({"digit_px": 6.0}, refusal.TOO_SMALL),
        ({"share": 0.09}, None),
    ],
)
def test_what_no_confidence_outweighs(
    probabilities: dict[str, float], change: dict[str, Any], reason: str | None
) -> None:
    reading = decide(evidence(shown("34.70"), **change))
    assert min(probabilities.values()) > 0.99
    assert not reading.accepted
    assert reading.reason == reason or (reason is None and reading.reason)


@pytest.mark.parametrize(("text", "seconds"), [("12:34", "754"), ("1:05", "65"), ("1:02:03", "3723")])
def test_a_time_is_read_in_seconds_and_asked_about(probabilities: dict[str, float], text: str, seconds: str) -> None:
    """It might be hours and minutes: never by a bare yes."""
    probabilities["unit"] = 0.0
    reading = decide(evidence(shown(text, None)))
    assert reading.accepted, reading.reason
    assert reading.text == text
    assert (reading.quantity.digits, reading.quantity.unit) == (seconds, "s")
    assert reading.doubts == (Doubt.DIGITS_AMBIGUOUS,)


def test_a_time_beside_an_ohm_sign_is_no_reading(probabilities: dict[str, float]) -> None:
    assert probabilities["unit"] > 0.99
    assert not decide(evidence(shown("12:34"))).accepted


def test_a_colon_in_doubt_is_refused(probabilities: dict[str, float]) -> None:
    probabilities.update(dot=0.5, unit=0.0)
    reading = decide(evidence(shown("12:34", None)))
    assert (reading.accepted, reading.reason) == (False, refusal.POINT_UNSURE)


def test_digits_and_point_share_one_cut(probabilities: dict[str, float]) -> None:
    """Each likely enough alone, both together not."""
    probabilities.update(value=0.97, dot=0.96)
    reading = decide(evidence(shown("34.70")))
    assert (reading.accepted, reading.reason) == (False, refusal.POINT_UNSURE)


def test_a_negative_resistance_is_asked_about(probabilities: dict[str, float]) -> None:
    reading = decide(evidence(shown("-3.4")))
    assert probabilities["unit"] > 0.99
    assert reading.accepted
    assert Doubt.IMPLAUSIBLE in reading.doubts


def test_two_numbers_in_one_row_are_not_one(probabilities: dict[str, float]) -> None:
    """A gap in a long row: 217 and 32 are not 21732."""
    even, gap = shown("21732"), shown("21732")
    gap.chars = [replace(m, x=m.x + 45) if m.x > 170 else m for m in gap.chars]
    assert decide(evidence(even)).accepted
    assert probabilities["value"] > 0.99
    reading = decide(evidence(gap))
    assert (reading.accepted, reading.reason) == (False, refusal.GAP)


def test_a_digit_missed_in_a_short_number_is_noticed(probabilities: dict[str, float]) -> None:
    """Three digits with room for a fourth: 21 7 may be 2187. Two digits leave no second step to compare with."""
    even, gap = shown("217"), shown("217")
    gap.chars = [replace(m, x=m.x + 55) if m.name == "7" else m for m in gap.chars]
    assert decide(evidence(even)).accepted
    assert probabilities["value"] > 0.99
    reading = decide(evidence(gap))
    assert (reading.accepted, reading.reason) == (False, refusal.GAP)
