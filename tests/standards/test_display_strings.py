"""What display strings mean: comparator, over range, dashes, zero offset of insulation testers and ohmmeters.

Source: common practice of such instruments (class level, no maker); no published standard fixes these marks. The
numbers are written out by hand here, not taken from the code.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from capture.display.strings import parse_line, parse_main, seconds
from grading.terms.quantity import Qualifier

CASES = [
    # name, line, digits, unit, qualifier, test voltage, elapsed s, zero
    ("over range with all fields", "> 4000 MΩ 512V 1:00", "4000", "MOhm", ">", "512", "60", False),
    ("collapsed voltage", "0.07 MΩ 70V", "0.07", "MOhm", "=", "70", None, False),
    ("OL on an ohmmeter", "OL MΩ", None, "MOhm", ">", None, None, False),
    ("dashes", "---- 0V", None, None, "none", "0", None, False),
    ("seconds with unit", "2.20 GΩ 505V 60s", "2.20", "GOhm", "=", "505", "60", False),
    ("two decimals", "34.70 MΩ", "34.70", "MOhm", "=", None, None, False),
    ("no decimals", "3470 MΩ", "3470", "MOhm", "=", None, None, False),
    ("one decimal", "0.8 Ω", "0.8", "Ohm", "=", None, None, False),
    ("zero offset subtracted", "00.80 Ω Δ", "00.80", "Ohm", "=", None, None, True),
    ("zero L", "0L Ω", None, "Ohm", ">", None, None, False),
    ("too early for one minute", "550 MΩ 498V 0:07", "550", "MOhm", "=", "498", "7", False),
    ("sign after the voltage", "580V > 2.0 GΩ", "2.0", "GOhm", ">", "580", None, False),
]


@pytest.mark.parametrize(
    ("line", "digits", "unit", "qualifier", "volts", "elapsed", "zero"),
    [c[1:] for c in CASES],
    ids=[c[0] for c in CASES],
)
def test_a_display_line_means_what_the_trade_reads_in_it(
    line: str, digits: str | None, unit: str | None, qualifier: str, volts: str | None, elapsed: str | None, zero: bool
) -> None:
    shown = parse_line(line)
    assert shown is not None
    assert shown.main is not None
    assert (shown.main.digits, shown.main.unit, shown.main.qualifier.value) == (digits, unit, qualifier)
    assert shown.test_voltage == (None if volts is None else Decimal(volts))
    assert shown.elapsed_s == (None if elapsed is None else Decimal(elapsed))
    assert shown.zero is zero


def test_collapsed_voltage_in_kilohms() -> None:
    """0.07 MΩ is 70 kΩ: the value in the unit that the electrician will say."""
    shown = parse_line("0.07 MΩ 70V")
    assert shown is not None
    assert shown.main is not None
    assert shown.main.in_unit("kOhm") == Decimal(70)


@pytest.mark.parametrize(
    ("text", "resolution"), [("2.20", "0.01"), ("34.70", "0.01"), ("3470", "1"), ("0.8", "0.1"), ("00.80", "0.01")]
)
def test_the_last_digit_shown_is_the_resolution(text: str, resolution: str) -> None:
    quantity = parse_main(text, "MOhm")
    assert quantity is not None
    assert quantity.resolution == Decimal(resolution)


@pytest.mark.parametrize("text", ["OL", "0L", "O.L", "0.L", "0L.", ".0L", "OFL", "∞", "-0L"])
def test_over_range_marks_are_bounds_without_a_number(text: str) -> None:
    quantity = parse_main(text, "kOhm")
    assert quantity is not None
    assert quantity.qualifier is Qualifier.ABOVE
    assert quantity.digits is None


@pytest.mark.parametrize("text", ["", "----", "- - -", "--"])
def test_dashes_and_blank_are_no_value(text: str) -> None:
    quantity = parse_main(text, "MOhm")
    assert quantity is not None
    assert quantity.qualifier is Qualifier.NONE
    assert quantity.digits is None


@pytest.mark.parametrize("text", ["Err", "1.2.3", "4-5", ">>4000", "> ", "12:30", "0x1", "1e3", "¿¿", "--5", "5-"])
def test_what_is_no_reading_is_refused(text: str) -> None:
    assert parse_main(text, "MOhm") is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1:00", "60"),
        ("0:07", "7"),
        ("10:00", "600"),
        ("60", "60"),
        ("60s", "60"),
        ("1:02:03", "3723"),
        ("0:07.5", "7.5"),
    ],
)
def test_elapsed_time(text: str, expected: str) -> None:
    assert seconds(text) == Decimal(expected)


@pytest.mark.parametrize("text", ["1:60", "a", "1:0", "-5", "1:60:00", "1:2:03", "7:73:41", "1:00:00:00"])
def test_what_is_no_time(text: str) -> None:
    assert seconds(text) is None


@pytest.mark.parametrize(("text", "digits"), [("12:34", "754"), ("0:05", "5"), ("1:02:03", "3723"), ("99:59", "5999")])
def test_a_time_is_a_number_of_seconds(text: str, digits: str) -> None:
    """ISO 8601-1:2019, 5.3.1: hours, minutes and seconds part at colons, sixty to the next."""
    for unit in (None, "s", "min"):
        quantity = parse_main(text, unit)
        assert quantity is not None
        assert (quantity.digits, quantity.unit, quantity.qualifier) == (digits, "s", Qualifier.EQUAL)


@pytest.mark.parametrize("line", ["4000 Mohm", "4000 MΩ 3000 kΩ", "MΩ", "12 V 13 V 14 Ω", "1 Ω ?"])
def test_lines_that_no_display_shows_are_refused(line: str) -> None:
    assert parse_line(line) is None


@pytest.mark.parametrize(("milli", "mega"), [("3.2 mΩ", "3.2 MΩ")])
def test_milli_and_mega_differ_by_a_thousand_million(milli: str, mega: str) -> None:
    values = []
    for line in (milli, mega):
        shown = parse_line(line)
        assert shown is not None
        assert shown.main is not None
        values.append(shown.main.in_unit("Ohm"))
    assert values[0] is not None
    assert values[1] == values[0] * 10**9
