"""Which numbers instruments show: by the formats that ship, classes of instruments of common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.display.profile import Range
from capture.display.profile_files import shipped
from capture.language.number_model import is_shown
from grading.terms.quantity import Quantity

RANGES = sorted({one for profile in shipped().values() for one in profile.ranges}, key=str)


@pytest.mark.parametrize(
    ("digits", "unit"),
    [("3.47", "GOhm"), ("2.2", "GOhm"), ("2", "GOhm"), ("550", "MOhm"), ("34.70", "MOhm"), ("3470", "MOhm"),
     ("0.07", "MOhm"), ("0.8", "Ohm"), ("1.21", "Ohm"), ("505", "V"), ("24.5", "Cel"), ("46", "%"), ("34700", "min"),
     (None, "MOhm")],
)  # fmt: skip
def test_what_a_display_shows(digits: str | None, unit: str) -> None:
    assert is_shown(Quantity(digits, unit))


@pytest.mark.parametrize(
    ("digits", "unit"),
    [
        ("34700", "GOhm"),
        ("3.4700", "GOhm"),
        ("34700", "MOhm"),
        ("1.23456", "Ohm"),
        ("12345", "MOhm"),
        ("7.333", "GOhm"),
    ],
)
def test_what_none_shows(digits: str, unit: str) -> None:
    assert not is_shown(Quantity(digits, unit))


@given(one=st.sampled_from(RANGES), share=st.floats(0, 1))
def test_what_an_instrument_shows_is_shown_with_or_without_its_last_zeros(one: Range, share: float) -> None:
    number = round(share * int(one.top.replace(".", "")))
    digits = str(number).zfill(one.decimals + 1)
    digits = f"{digits[: -one.decimals]}.{digits[-one.decimals :]}" if one.decimals else digits
    assert is_shown(Quantity(digits, one.unit))
    if "." in digits:
        assert is_shown(Quantity(digits.rstrip("0").removesuffix("."), one.unit))
