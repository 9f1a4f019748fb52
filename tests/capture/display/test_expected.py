"""What profile and visit settle beyond sight: the unit, the point, which number counts; and never anything wrongly."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from capture.display import see_photo
from capture.display.check import all_checked, checked, number_expected
from capture.display.profile_files import read_profile, shipped
from capture.display.strings import parse_main
from capture.reading import DisplayAlternative, DisplayReading, Doubt, LeftOpen
from fixtures.training.displays.photo import render, to_jpeg
from grading.terms.quantity import DIMENSION_OF_KIND, UNITS, QuantityKind

INSULATION, OHMS = QuantityKind.INSULATION_RESISTANCE, QuantityKind.WINDING_RESISTANCE
TESTER = shipped()["insulation-4000"]
CLIMATE = shipped()["climate"]
UNIT_DOUBTS = {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE}
SHOWN = (
    ("tester_backlit", {"main": "34.70", "unit": "MOhm", "test_voltage": "512", "set_voltage": "500"}),
    ("multimeter_lcd", {"main": "34.70", "unit": "V"}),
    ("multimeter_dark", {"main": "1.234", "unit": "Ohm"}),
    ("milliohm_vfd", {"main": "194.07", "unit": "mOhm"}),
    ("climate_lcd", {"main": "23.4", "second": "45"}),
    ("panel_red", {"main": "31.5", "unit": "A"}),
)
"""Displays of several kinds of instrument whose digits fit more than one profile; what they show is the truth."""


def reading(
    text: str, unit: str | None, *doubts: Doubt, sure: float = 0.0, units: Any = (), **small: str
) -> DisplayReading:
    quantity = parse_main(text, unit)
    assert quantity is not None
    confidence = {"value": 1.0, "dot": 1.0, "unit": sure}
    return DisplayReading(text, quantity, dict(small), confidence, True, "", (), doubts, units_seen=tuple(units))


def unsettled(found: DisplayReading) -> bool:
    return bool(UNIT_DOUBTS & set(found.doubts))


@pytest.mark.parametrize(("style", "shows"), SHOWN, ids=[style for style, _ in SHOWN])
def test_no_profile_and_no_expectation_gives_a_display_a_unit_that_it_does_not_show(
    style: str, shows: dict[str, Any]
) -> None:
    """Each display under every profile and quantity, right and wrong: refused, asked about, or with its own unit.

    Once as seen, and once as if the unit had not been seen at all, where nothing but the profile is left.
    """
    spec = {"seed": 7, "style": style, "shows": shows, "spoil": {"share": 0.45}, "size": (1000, 750)}
    seen = see_photo(to_jpeg(render(spec), spec))
    truth = {shows["main"]: shows.get("unit", "Cel"), shows.get("second", ""): "%"}
    assert seen.displays[0].text == shows["main"]
    missing = (Doubt.UNIT_MISSING,)
    blind = replace(
        seen.displays[0], quantity=replace(seen.displays[0].quantity, unit=None), doubts=missing, units_seen=()
    )
    for profile in shipped().values():
        for kind in QuantityKind:
            for one in (seen, replace(seen, displays=(blind,))):
                found = all_checked(one, profile, kind=kind).displays[0]
                settled = found.accepted and not unsettled(found)
                assert not settled or found.quantity.unit == truth[found.text], (profile.name, kind)


def test_a_unit_barely_seen_is_settled_where_the_instrument_shows_no_other_of_that_quantity() -> None:
    faint = reading("34.70", "MOhm", Doubt.UNIT_UNSURE, sure=0.6, units=[("MOhm", 0.6), ("Ohm", 0.2)])
    assert checked(faint, TESTER, kind=INSULATION).doubts == ()
    assert checked(faint, TESTER, kind=INSULATION).unit_by_profile
    assert unsettled(checked(faint, TESTER)), "ohms are as possible where nobody says what is measured"
    other = replace(faint, units_seen=(("Ohm", 0.5), ("MOhm", 0.4)))
    assert unsettled(checked(other, TESTER, kind=INSULATION)), "another unit is likelier by sight"


def test_a_test_voltage_beside_the_digits_shows_that_insulation_is_measured() -> None:
    """Without it the tester may stand on its ohms range: 34.7 ohms are no 34.7 megohms."""
    bare = reading("34.70", None, Doubt.UNIT_MISSING)
    assert unsettled(checked(bare, TESTER, kind=INSULATION))
    measuring = replace(bare, secondary={"test_voltage": "512"})
    found = checked(measuring, TESTER, kind=INSULATION)
    assert (found.quantity.unit, found.doubts, found.unit_by_profile) == ("MOhm", (), True)
    assert found.to_json()["unit_by_profile"] is True
    assert unsettled(
        checked(replace(measuring, quantity=replace(bare.quantity, digits="3.47")), TESTER, kind=INSULATION)
    )


def test_the_end_of_a_range_has_its_unit_by_the_profile() -> None:
    over = reading(">4000", None, Doubt.UNIT_MISSING, test_voltage="512")
    found = checked(over, TESTER, kind=INSULATION)
    assert (found.quantity.display(), found.doubts) == ("> 4000 MΩ", ())


def test_a_point_in_doubt_stands_where_alone_the_instrument_shows_it() -> None:
    pointed = replace(reading("23.4", "Cel", sure=1.0), confidence={"value": 1.0, "dot": 0.7, "unit": 1.0})
    doubted = replace(pointed, accepted=False, reason="point", doubts=(Doubt.DOT_UNSURE,))
    refused = replace(doubted, alternatives=(DisplayAlternative(LeftOpen.POINT, pointed),))
    found = checked(refused, CLIMATE, kind=QuantityKind.TEMPERATURE)
    assert (found.accepted, found.text, found.doubts) == (True, "23.4", ())
    lost = replace(pointed, text="234", quantity=replace(pointed.quantity, digits="234"))
    found = checked(
        replace(doubted, alternatives=(DisplayAlternative(LeftOpen.POINT, lost),)), CLIMATE,
        kind=QuantityKind.TEMPERATURE,
    )  # fmt: skip
    assert (found.text, found.doubts) == ("23.4", (Doubt.DOT_UNSURE,)), "not seen there: asked"
    assert not checked(refused, CLIMATE).accepted, "nobody said what is measured"
    ohms = replace(refused, alternatives=(DisplayAlternative(LeftOpen.POINT, reading("34.70", "MOhm", sure=1.0)),))
    assert not checked(ohms, TESTER, kind=INSULATION).accepted, "34.70 and 347.0 are shown alike"


def test_of_two_numbers_the_one_of_the_quantity_expected_counts() -> None:
    volts = reading("505", "V", sure=1.0, units=[("V", 0.95)])
    ohms = reading("34.70", "MOhm", sure=1.0, units=[("MOhm", 0.95)])
    both = tuple(DisplayAlternative(LeftOpen.NUMBER, one) for one in (volts, ohms))
    refused = replace(volts, accepted=False, reason="two", doubts=(Doubt.VALUE_MISSING,), alternatives=both)
    assert checked(refused, TESTER, kind=INSULATION).text == "34.70"
    assert checked(refused, TESTER, kind=QuantityKind.VOLTAGE).text == "505"
    assert not checked(refused, TESTER).accepted
    unread = replace(volts, accepted=False, units_seen=(("V", 0.4),))
    open_ = replace(refused, alternatives=(both[1], DisplayAlternative(LeftOpen.NUMBER, unread)))
    assert not checked(open_, TESTER, kind=INSULATION).accepted, "the other one may be of the same quantity"


def test_an_instrument_of_one_unit_shows_no_other() -> None:
    ammeter = read_profile({"name": "a", "title": "Panel ammeter", "range": [{"unit": "A", "top": "99.9"}]})
    found = checked(reading("31.5", None, Doubt.UNIT_MISSING), ammeter, kind=QuantityKind.CURRENT)
    assert (found.quantity.unit, found.doubts) == ("A", ())
    assert UNITS["A"].dimension == DIMENSION_OF_KIND[QuantityKind.CURRENT]
    foreign = reading("31.5", None, Doubt.UNIT_MISSING, units=[("other", 0.6)])
    assert unsettled(checked(foreign, ammeter, kind=QuantityKind.CURRENT))


def several(*numbers: DisplayReading, accepted: bool = False) -> DisplayReading:
    """Make a display on which these numbers are of one size, the first as the main one."""
    alternatives = tuple(DisplayAlternative(LeftOpen.NUMBER, one) for one in numbers)
    if accepted:
        return replace(numbers[0], alternatives=alternatives)
    return replace(numbers[0], accepted=False, reason="two", doubts=(Doubt.VALUE_MISSING,), alternatives=alternatives)


VOLTS = reading("12.05", "V", sure=1.0, units=[("V", 0.97)])
AMPERES = reading("0.253", "A", sure=1.0, units=[("A", 0.95), ("other", 0.03)])
BARE = reading("1.21", None, Doubt.UNIT_MISSING)
FOREIGN = reading("3.05", None, Doubt.UNIT_MISSING, units=[("other", 0.6), ("mV", 0.15)])
VOLTAGE, CURRENT = QuantityKind.VOLTAGE, QuantityKind.CURRENT
WARMTH, DAMP = QuantityKind.TEMPERATURE, QuantityKind.HUMIDITY


@pytest.mark.parametrize("accepted", [False, True])
def test_without_a_profile_clear_units_tell_which_number_is_expected(accepted: bool) -> None:
    display = several(VOLTS, AMPERES, accepted=accepted)
    found = number_expected(display, CURRENT)
    assert (found.text, found.quantity.unit, found.accepted, found.doubts) == ("0.253", "A", True, ())
    assert found.secondary == {"second_V": "12.05"}
    assert number_expected(display, VOLTAGE).text == "12.05"
    for kind in (None, QuantityKind.INSULATION_RESISTANCE, WARMTH):
        assert number_expected(display, kind) is display


def test_where_the_unit_of_one_of_two_is_seen_either_is_asked_about() -> None:
    display = several(BARE, VOLTS)
    expected, other = number_expected(display, VOLTAGE), number_expected(display, CURRENT)
    assert (expected.text, expected.doubts) == ("12.05", (Doubt.LOW_CONFIDENCE,)), "the other one may be volts as well"
    assert (other.text, other.quantity.unit, other.doubts) == ("1.21", None, (Doubt.UNIT_MISSING,))
    three = several(BARE, VOLTS, replace(BARE, text="9.99"))
    assert number_expected(three, VOLTAGE) is three
    assert number_expected(three, CURRENT) is three


def test_beside_units_that_are_likelier_others_the_number_is_asked_about() -> None:
    display = several(VOLTS, AMPERES, FOREIGN)
    assert number_expected(display, CURRENT).doubts == ()
    assert number_expected(display, VOLTAGE).doubts == (Doubt.LOW_CONFIDENCE,), "mV is not ruled out beside the third"


@pytest.mark.parametrize(("warm", "damp"), [(None, None), ("Cel", None), (None, "%"), ("Cel", "other")], ids=str)
def test_temperature_and_humidity_are_told_by_one_unit_or_the_decimal_place(warm: str | None, damp: str | None) -> None:
    def seen(text: str, unit: str | None) -> DisplayReading:
        known = unit if unit in UNITS else None
        doubts = () if known else (Doubt.UNIT_MISSING,)
        return reading(text, known, *doubts, units=[(unit, 0.9)] if unit else ())

    first, second = seen("23.4", warm), seen("45", damp)
    for display in (several(first, second), several(second, first)):
        for kind, text, unit in ((WARMTH, "23.4", "Cel"), (DAMP, "45", "%")):
            found = number_expected(display, kind)
            assert (found.text, found.quantity.unit, found.accepted) == (text, unit, True)
            own_seen_and_other_told_off = kind is WARMTH and (warm, damp) == ("Cel", "other")
            assert bool(found.doubts) is not own_seen_and_other_told_off


@pytest.mark.parametrize("pair", [("23.4", "45.1"), ("23", "45"), ("85.4", "45"), ("23.4", "145"), ("23.4", "-5")])
def test_no_place_tells_temperature_and_humidity_apart_without_one_decimal(pair: tuple[str, str]) -> None:
    display = several(*(reading(text, None, Doubt.UNIT_MISSING) for text in pair))
    for kind in (WARMTH, DAMP):
        assert number_expected(display, kind) is display
