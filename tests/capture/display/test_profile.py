"""What instruments can show. Classes, ends and formats are common practice, no source, as the files say."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.display import see_photo
from capture.display.check import checked
from capture.display.profile import MIN_LEARNT, Possibility, learnt
from capture.display.profile_files import find_profile, load_profile, read_profile, shipped
from capture.display.strings import parse_main
from capture.errors import InstrumentProfileError
from capture.reading import DisplayReading, Doubt
from grading.terms.quantity import Quantity

TRUTH = Path(__file__).parents[3] / "fixtures" / "visit" / "truth.json"
TESTER = shipped()["insulation-4000"]
METER = shipped()["multimeter-6000"]
BY_STYLE = {"tester": TESTER, "multimeter": METER, "milliohm": shipped()["milliohm-four-wire"]}


def verdict(profile: Any, text: str, unit: str | None, volts: str | None = None) -> str:
    quantity = parse_main(text, unit)
    assert quantity is not None
    return str(profile.possibility(quantity, None if volts is None else Decimal(volts))[0].value)


@pytest.mark.parametrize(
    ("text", "unit", "volts", "expected"),
    [
        ("34.70", "MOhm", "500", "possible"),
        ("0.80", "MOhm", "500", "possible"),
        (">4000", "MOhm", "500", "possible"),
        (">1000", "MOhm", "250", "possible"),
        ("OL", "MOhm", "500", "possible"),
        ("2.20", "GOhm", "500", "possible"),
        ("----", None, None, "possible"),
        ("80", "MOhm", "500", "unlikely"),  # a point lost from 0.80: whole megohms are shown from 300 on
        ("4000", "MOhm", "500", "unlikely"),  # the sign lost
        (">1000", "MOhm", "500", "unlikely"),  # ends there at 250 V, not at 500 V
        ("3470", "MOhm", "50", "unlikely"),  # not at 50 V
        ("0.8", "MOhm", "500", "unlikely"),  # a digit lost
        ("34.7012", "MOhm", "500", "impossible"),
        ("99.99", "MOhm", "500", "impossible"),  # above 40 it shows one decimal
        ("00.80", "MOhm", "500", "impossible"),  # no leading zeros
        (">400.0", "MOhm", "1000", "unlikely"),
        (">900", "MOhm", "500", "impossible"),
        ("-0.80", "MOhm", "500", "impossible"),
        ("0.80", "TOhm", "500", "impossible"),
        ("0.80", "A", None, "impossible"),
    ],
)
def test_tester_of_4000_counts(text: str, unit: str | None, volts: str | None, expected: str) -> None:
    assert verdict(TESTER, text, unit, volts) == expected


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("820.0", "kOhm", "impossible"),  # beyond 600.0 the next range shows 0.820 MΩ
        ("0.820", "MOhm", "possible"),
        ("-12.50", "V", "possible"),
        ("-12.50", "kOhm", "impossible"),
        ("OL", "MOhm", "possible"),
        (">60.00", "MOhm", "impossible"),  # it shows OL, no sign
    ],
)
def test_multimeter_of_6000_counts(text: str, unit: str, expected: str) -> None:
    assert verdict(METER, text, unit) == expected


def test_every_reason_says_what_it_can_show() -> None:
    found, why = TESTER.possibility(Quantity("99.99", "MOhm"))
    assert found is Possibility.IMPOSSIBLE
    assert "40.00 MΩ" in why


DIGITS = st.from_regex(r"[0-9]{1,5}(\.[0-9]{1,3})?", fullmatch=True)


@given(DIGITS, st.sampled_from(["kOhm", "MOhm", "GOhm", "Ohm"]), st.sampled_from([None, Decimal(250), Decimal(500)]))
def test_a_moved_point_is_never_better_than_the_format_of_a_range(
    digits: str, unit: str, volts: Decimal | None
) -> None:
    """What is possible has exactly the decimals of one of the ranges, and no more digits than it."""
    if TESTER.possibility(Quantity(digits, unit), volts)[0] is not Possibility.POSSIBLE:
        return
    decimals = len(digits.partition(".")[2])
    assert any(r.unit == unit and r.decimals == decimals and r.at(volts) for r in TESTER.ranges)


def test_shipped_profiles_can_be_written_and_read_again() -> None:
    assert len(shipped()) == 5
    for profile in shipped().values():
        assert read_profile(json.loads(json.dumps(profile.to_json()))) == profile


def reading(text: str, unit: str | None, doubts: tuple[Doubt, ...] = (), **small: str) -> DisplayReading:
    quantity = parse_main(text, unit)
    assert quantity is not None
    return DisplayReading(text, quantity, dict(small), {"value": 1.0, "dot": 1.0, "unit": 1.0}, True, "", (), doubts)


def test_an_impossible_reading_is_refused_with_the_reason() -> None:
    found = checked(reading("99.99", "MOhm"), TESTER)
    assert not found.accepted
    assert "cannot show 99.99 MΩ" in found.reason
    assert "type the value" in found.reason


def test_an_unlikely_reading_is_asked_about() -> None:
    found = checked(reading("4000", "MOhm"), TESTER)
    assert found.accepted
    assert found.doubts == (Doubt.UNUSUAL,)


def test_the_voltage_that_the_display_shows_counts_where_nobody_gave_one() -> None:
    assert checked(reading("3470", "MOhm", set_voltage="50"), TESTER).doubts == (Doubt.UNUSUAL,)
    assert checked(reading("3470", "MOhm", set_voltage="500"), TESTER).doubts == ()
    assert checked(reading("3470", "MOhm", set_voltage="50"), TESTER, Decimal(500)).doubts == ()


def test_a_missing_unit_that_can_only_be_one_is_offered_and_still_asked() -> None:
    found = checked(reading("1.6200", None, (Doubt.UNIT_MISSING,)), shipped()["milliohm-four-wire"])
    assert found.quantity.unit is None, "mΩ or Ω: two are possible"
    found = checked(reading("23.4", None, (Doubt.UNIT_MISSING,)), read_profile(ONE_UNIT))
    assert (found.quantity.unit, found.doubts) == ("Cel", (Doubt.UNIT_UNSURE,))


def test_a_refused_reading_stays_refused() -> None:
    refused = DisplayReading("0.80", Quantity("0.80", "MOhm"), {}, {}, False, "Glare", ())
    assert checked(refused, TESTER) == refused


ONE_UNIT = {"name": "one", "title": "One", "range": [{"unit": "Cel", "top": "99.9"}]}


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"name": ""}, "name"),
        ({"name": "../x"}, "name"),
        ({"range": []}, "range"),
        ({"range": [{"unit": "MOHM", "top": "4000"}]}, "MOHM"),
        ({"range": [{"unit": "MOhm", "top": 40.0}]}, "in quotes"),
        ({"range": [{"unit": "MOhm", "top": "40.00", "bottom": "50.00"}]}, "no range"),
        ({"range": [{"unit": "MOhm", "top": "40.00", "botom": "1"}]}, "botom"),
        ({"range": [{"unit": "MOhm", "top": "40.00", "test_voltage": ["much"]}]}, "much"),
        ({"range": [{"unit": "MOhm", "top": "40.00", "negative": "no"}]}, "true or false"),
        ({"over": [{"shown": "1"}]}, "OL"),
        ({"over": [{"shown": ">4000"}]}, "unit"),
        ({"maker": "x"}, "maker"),
    ],
)
def test_a_wrong_profile_names_the_place(change: dict[str, Any], named: str) -> None:
    with pytest.raises(InstrumentProfileError, match=named):
        read_profile({**ONE_UNIT, **change})


def test_files_in_toml_and_json(tmp_path: Path) -> None:
    toml = tmp_path / "own.toml"
    toml.write_text('name = "own"\n[[range]]\nunit = "MOhm"\ntop = "40.00"\n', "utf-8")
    by_json = tmp_path / "own.json"
    by_json.write_text(json.dumps({"name": "own", "range": [{"unit": "MOhm", "top": "40.00"}]}), "utf-8")
    assert load_profile(toml) == load_profile(by_json) == find_profile(str(toml))
    (tmp_path / "bad.toml").write_text("name = ", "utf-8")
    with pytest.raises(InstrumentProfileError, match=r"bad\.toml"):
        load_profile(tmp_path / "bad.toml")
    with pytest.raises(InstrumentProfileError, match="insulation-4000"):
        find_profile("nonsense")


def test_a_profile_is_learnt_from_what_was_confirmed() -> None:
    confirmed = [(f"{n}.{n}0", "MOhm") for n in range(1, 9)] + [(">4000", "MOhm"), ("1.21", "Ohm")]
    assert learnt("IT-03", "IT-03", confirmed[: MIN_LEARNT - 1]) is None
    found = learnt("IT-03", "IT-03", confirmed)
    assert found is not None
    assert verdict(found, "4.70", "MOhm") == "possible"
    assert verdict(found, "470", "MOhm") == "unlikely", "never refused: it may be a range not seen yet"
    assert verdict(found, "47.0", "MOhm") == "unlikely"
    assert verdict(found, ">4000", "MOhm") == "possible"
    assert verdict(found, ">400", "MOhm") == "unlikely"
    assert verdict(found, "33.1", "Ohm") == "possible", "one confirmed reading of ohms teaches nothing yet"


def test_what_the_demo_s_instruments_show_is_possible_but_for_their_own_ranges() -> None:
    """The invented insulation tester of the demo is of this class: every true string of it must pass."""
    for photo in json.loads(TRUTH.read_text("utf-8"))["photos"]:
        if photo["style"].startswith("tester"):
            assert verdict(TESTER, photo["shows"]["main"], photo["shows"]["unit"]) == "possible", photo["file"]


def test_a_photo_is_held_against_the_profile() -> None:
    """p06 shows 0.80 MΩ; a meter that ends at 0.500 cannot have shown it."""
    data = (TRUTH.parent / "photos" / "p06.jpg").read_bytes()
    own = read_profile({"name": "own", "range": [{"unit": "MOhm", "top": "0.500"}]})
    assert see_photo(data, profile=TESTER).displays[0].text == "0.80"
    assert see_photo(data, profile=TESTER).displays[0].accepted
    refused = see_photo(data, profile=own)
    assert not refused.displays[0].accepted
    assert "own cannot show 0.80 MΩ" in refused.reason
    assert not refused.displays[0].accepted
    assert "own cannot show 0.80 MΩ" in refused.reason


def test_a_unit_that_sight_and_profile_agree_on_is_not_asked_about() -> None:
    """Where the profile leaves one unit and the display shows it; not where it is barely seen, or two are possible."""
    doubtful = (Doubt.UNIT_UNSURE,)
    profile = read_profile(ONE_UNIT)
    assert checked(reading("23.4", "Cel", doubtful), profile).doubts == ()
    faint = replace(reading("23.4", "Cel", doubtful), confidence={"value": 1.0, "dot": 1.0, "unit": 0.6})
    assert checked(faint, profile).doubts == doubtful
    assert checked(reading("1.6200", "mOhm", doubtful), shipped()["milliohm-four-wire"]).doubts == doubtful
