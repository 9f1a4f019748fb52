"""Two numbers on one display: which is the main one, and whose unit is whose. Practice, no source."""

from __future__ import annotations

from dataclasses import replace

from capture.display.leading import arrange
from capture.display.marks import Mark
from tests.capture.display.test_confidence import mark


def number(text: str, x: float, y: float, height: float) -> list[Mark]:
    """Make the marks of a number whose first digit stands at `x`."""
    marks = []
    for character in text:
        point = character == "."
        marks.append(mark(character, x - 0.3 * height if point else x, y=y, height=height))
        x += 0.0 if point else 0.65 * height
    return marks


def test_a_unit_between_two_numbers_of_one_row_parts_them() -> None:
    marks = [
        *number("14.9", 40, 100, 60),
        mark("Cel", 170, y=120, height=22),
        *number("73", 220, 100, 60),
        mark("%", 305, y=120, height=22),
    ]
    fields = arrange(marks)
    assert (fields.text, fields.unit, fields.small.get("humidity")) == ("14.9", "Cel", "73")


def test_of_two_rows_each_number_takes_the_unit_on_its_own_level() -> None:
    """The humidity below is as large, and its unit stands high: nearer to the temperature's foot than to its own."""
    marks = [
        *number("2.9", 80, 60, 90),
        mark("Cel", 205, y=85, height=24),
        *number("36", 90, 160, 92),
        mark("%", 195, y=128, height=24),
    ]
    fields = arrange(marks)
    assert (fields.text, fields.unit, fields.small.get("humidity")) == ("2.9", "Cel", "36")


def test_a_unit_above_the_digits_does_not_part_them() -> None:
    """The test voltage stands in small print over the main digits."""
    marks = [*number("237", 40, 40, 22), mark("V", 92, y=42, height=16), *number("829", 40, 130, 110)]
    fields = arrange([*marks, mark("MOhm", 290, y=110, height=30)])
    assert (fields.text, fields.unit, fields.small.get("test_voltage")) == ("829", "MOhm", "237")


def test_one_number_stays_whole() -> None:
    fields = arrange([*number("1234.5", 30, 100, 70), mark("MOhm", 330, y=90, height=26)])
    assert (fields.text, fields.unit) == ("1234.5", "MOhm")


def test_a_small_sign_that_cannot_be_read_is_not_passed_over() -> None:
    """Without its sign a bound of 4000 MΩ would become a value of 4000 MΩ."""
    doubtful = replace(mark("unreadable", 40, y=100, height=24), rival=">")
    fields = arrange([doubtful, *number("4000", 90, 100, 70), mark("MOhm", 330, y=90, height=26)])
    assert fields.text == "?4000"


def test_a_small_mark_that_is_no_sign_if_anything_is_passed_over() -> None:
    word = replace(mark("unreadable", 40, y=100, height=24), rival="hold")
    assert arrange([word, *number("4000", 90, 100, 70)]).text == "4000"


def test_a_large_second_number_is_a_rival_unless_a_known_unit_says_what_it_is() -> None:
    """A counter with two rows of one size: the unit beside the second is none that is known."""
    rows = [*number("252.8", 60, 150, 60), *number("727.7", 60, 60, 56)]
    assert arrange([*rows, mark("unit_other", 250, y=60, height=24)]).rival > 0.9
    assert arrange([*rows, mark("V", 250, y=60, height=24)]).rival == 0.0


def test_a_number_has_one_point() -> None:
    """Of two points the stronger stays, and the other leaves the point in doubt: 6.02.7 was once proposed."""
    marks = [*number("6.027", 30, 100, 70), mark(".", 130, y=100, height=70, heat=0.6)]
    fields = arrange(marks)
    assert fields.text == "6.027"
    assert fields.dot_confidence == 0.0
