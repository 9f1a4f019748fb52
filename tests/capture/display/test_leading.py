"""Which of several numbers is the main one by its unit, and which nothing tells apart. Practice, no source."""

from __future__ import annotations

import pytest

from capture.display.fields import Fields
from capture.display.leading import arrange, can_be_humidity, can_be_temperature, is_unclear
from tests.capture.display.test_confidence import mark
from tests.capture.display.test_rows import number

Written = tuple[str, str]


def two(upper: Written, lower: Written, size: float = 70) -> Fields:
    """Arrange two rows of digits, each with a unit at its right or ("") without; the lower one `size` high."""
    marks = []
    for (text, unit), y, height in ((upper, 60, 70.0), (lower, 160, size)):
        marks += number(text, 60, y, height)
        if unit:
            marks.append(mark(unit, 60 + 0.65 * height * len(text.replace(".", "")) + 20, y=y + 20, height=26))
    return arrange(marks)


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize(("other", "name"), [("V", "test_voltage"), ("mA", "current"), ("s", "elapsed")])
def test_a_resistance_leads_beside_another_quantity_of_its_size(order: int, other: str, name: str) -> None:
    first, second = [("34.70", "MOhm"), ("505", other)][::order]
    fields = two(first, second)
    assert (fields.text, fields.unit, fields.small) == ("34.70", "MOhm", {name: "505"})
    assert [one.unit for one in fields.seen] == [other]
    assert not is_unclear(fields)


@pytest.mark.parametrize(
    ("upper", "lower"),
    [
        (("12.05", "V"), ("0.253", "A")),
        (("12.05", "V"), ("13.15", "V")),
        (("12.05", "V"), ("1305", "mV")),
        (("4.7", "Ohm"), ("4.9", "kOhm")),
        (("23.4", "Cel"), ("7.1", "Cel")),
        (("12.05", "V"), ("0.253", "")),
        (("34.70", "MOhm"), ("505", "unit_other")),
    ],
)
def test_what_no_unit_tells_apart_stays_unclear(upper: Written, lower: Written) -> None:
    assert is_unclear(two(upper, lower))
    assert is_unclear(two(lower, upper))


def test_a_smaller_number_leaves_nothing_unclear() -> None:
    assert not is_unclear(two(("12.05", "V"), ("13.15", "V"), size=50))
    assert is_unclear(two(("12.05", "V"), ("13.15", "V"), size=58)), "of one quantity, a little lower"
    assert not is_unclear(two(("12.05", "V"), ("1315", "mA"), size=58))


@pytest.mark.parametrize("order", [1, -1])
def test_the_number_beside_a_humidity_is_the_temperature_though_its_unit_is_not_seen(order: int) -> None:
    first, second = [("23.4", ""), ("45", "%")][::order]
    fields = two(first, second)
    assert (fields.text, fields.unit, fields.small) == ("23.4", None, {"humidity": "45"})
    assert not is_unclear(fields)


def test_a_percent_sign_that_may_be_another_numbers_tells_nothing() -> None:
    marks = [*number("23.4", 60, 60, 70), *number("45", 60, 160, 70), mark("%", 330, y=180, height=26)]
    fields = arrange(marks)
    assert is_unclear(fields)


@pytest.mark.parametrize("text", ["1013", "85.3", "2.345"])
def test_beside_a_humidity_what_no_room_thermometer_shows_stays_beside_it(text: str) -> None:
    fields = two((text, ""), ("45", "%"), size=90)
    assert (fields.text, fields.unit) == ("45", "%")


def test_bounds_of_a_room() -> None:
    assert [can_be_temperature(t) for t in ("23", "-9.5", "60", "60.1", ">20", "1:20", "2?", "")] == [
        True, True, True, False, False, False, False, False,
    ]  # fmt: skip
    assert [can_be_humidity(t) for t in ("0", "45", "99.9", "100", "101", "-4", "45.25")] == [
        True, True, True, True, False, False, False,
    ]  # fmt: skip


def test_a_temperature_leads_beside_a_percentage_only_if_that_can_be_a_humidity() -> None:
    """A rendered <1 % beside a small 59.83 °C was read as the temperature, and so was 71.7486 % beside 48.6 °C."""
    assert two(("45", "%"), ("23.4", "Cel"), size=40).text == "23.4"
    for share, warm in (("71.7486", "23.4"), ("<1", "23.4"), ("-2", "23.4"), ("45", "59.83"), ("45", "99")):
        assert two((share, "%"), (warm, "Cel"), size=40).text == share
    assert two(("45", "%"), ("6.5", ""), size=40).text == "6.5"
    assert two(("<160", "%"), ("6.5", ""), size=40).text == "<160", "rendered, a limit beside it"
