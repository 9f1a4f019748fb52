"""What is said for an axis, and numbers typed by the habits of several countries.

Number formats: common usage (decimal comma in most of Europe, point in English; grouping by blank, point, comma or
apostrophe), CLDR's number patterns, from memory.
"""

from __future__ import annotations

import pytest

from capture.language.axis_names import how_to_say, spoken_names
from capture.language.parse import parse
from capture.language.typed import plain_number


def test_names_that_can_be_said_stay_and_others_get_a_form() -> None:
    names = ["X", "X-1", "TURRET", "SPINDLE", "TOOLS"]
    assert spoken_names(names) == {"X": "X", "X-1": "X1", "TURRET": "T", "SPINDLE": "SPINDLE", "TOOLS": "T1"}
    assert how_to_say("TURRET", names) == "Tango axis"


@pytest.mark.parametrize("names", [["X", "X-1", "TURRET"], ["B", "SPINDLE", "C2"], ["T", "TURRET"]])
def test_what_is_said_is_heard_as_that_axis(names: list[str]) -> None:
    for name in names:
        assert parse(how_to_say(name, names)).context.axis == spoken_names(names)[name]


def test_two_names_that_are_said_alike_are_refused() -> None:
    with pytest.raises(ValueError, match="said alike"):
        spoken_names(["X1", "X-1"], strict=True)
    assert spoken_names(["X1", "X-1"]) == {"X1": "X1", "X-1": "X-1"}


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("0,80", "0.80"), ("0.80", "0.80"), ("1 234,5", "1234.5"), ("1.234,5", "1234.5"), ("1,234.5", "1234.5"),
        ("1'234.50", "1234.50"), ("1,234,567", "1234567"), ("0,123", "0.123"), ("12,5", "12.5"), ("four", "four"),
        ("1\u202f234", "1234"),
    ],
)  # fmt: skip
def test_numbers_are_taken_as_they_are_typed(typed: str, plain: str) -> None:
    assert plain_number(typed) == plain


def test_what_can_be_two_numbers_is_refused() -> None:
    with pytest.raises(ValueError, match="can be"):
        plain_number("1,234")
