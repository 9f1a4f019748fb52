"""Digits said one by one are a whole way to say any number: what an instrument can show comes back as it was shown.

The numbers are drawn from the display formats of the instruments that ship (`capture/display/instruments/`), whose
resolutions are common practice of each class, no source. Radiotelephony says numbers this way: "decimal" and "niner"
are its words (ICAO Annex 10, vol. II, 5.2.1.4.3: from memory).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from capture.display.profile import Range
from capture.display.profile_files import shipped
from capture.language.parse import parse
from capture.language.say import ONES
from capture.reading import Context, Doubt
from grading.terms.quantity import QuantityKind

UNITS = {
    "uOhm": "microohms", "mOhm": "milliohms", "Ohm": "ohms", "kOhm": "kilohms", "MOhm": "meg", "GOhm": "gig",
    "TOhm": "teraohms", "V": "volts", "mV": "millivolts", "A": "amps", "mA": "milliamps", "uA": "microamps",
    "Cel": "degrees celsius", "%": "percent", "nF": "nanofarads", "uF": "microfarads",
}  # fmt: skip
RANGES = sorted({one for profile in shipped().values() for one in profile.ranges}, key=str)
UNASKED = {Doubt.QUANTITY_MISSING, Doubt.IMPLAUSIBLE}
"""What is no matter of the digits: nobody said what was measured, and a display may show what cannot be."""


@st.composite
def shown(draw: st.DrawFn) -> tuple[Range, str]:
    """Draw a number as one of the ranges shows it."""
    one = draw(st.sampled_from(RANGES))
    number = draw(st.integers(0, int(one.top.replace(".", ""))))
    digits = str(number).zfill(one.decimals + 1)
    if one.leading_zeros and draw(st.booleans()):
        digits = digits.zfill(one.digits)
    return one, f"{digits[: -one.decimals]}.{digits[-one.decimals :]}" if one.decimals else digits


def spelt(digits: str, zeros: list[str], nine: str, point: str) -> str:
    """Say digits one by one; the words for zero are taken in turn."""
    words = []
    for at, digit in enumerate(digits):
        said = {".": point, "0": zeros[at % len(zeros)], "9": nine}
        words.append(said.get(digit) or ONES[int(digit)])
    return " ".join(words)


ZEROS = st.lists(st.sampled_from(["zero", "oh", "nought"]), min_size=1, max_size=3)
PLACES = ["", "x ray axis", "lead one to ground", "it's", "uniform to victor", "greater than"]


@given(
    told=shown(),
    zeros=ZEROS,
    nine=st.sampled_from(["nine", "niner"]),
    point=st.sampled_from(["point", "dot", "decimal"]),
    place=st.sampled_from(PLACES),
    pauses=st.booleans(),
)
def test_what_a_display_shows_said_digit_by_digit_is_that_number(
    told: tuple[Range, str], zeros: list[str], nine: str, point: str, place: str, pauses: bool
) -> None:
    one, digits = told
    words = spelt(digits, zeros, nine, point)
    said = words.replace(" ", ", ") if pauses else words
    utterance = parse(f"{place} {said} {UNITS[one.unit]}", Context())
    [reading] = utterance.readings
    assert (reading.quantity.digits, reading.quantity.unit) == (digits, one.unit), said
    assert set(utterance.doubts) <= UNASKED


@given(told=shown(), zeros=ZEROS, point=st.sampled_from(["point", "dot"]))
def test_digit_by_digit_answers_a_question_about_the_digits(
    told: tuple[Range, str], zeros: list[str], point: str
) -> None:
    _, digits = told
    utterance = parse(f"correction {spelt(digits, zeros, 'nine', point)}", Context())
    [reading] = utterance.readings
    assert (reading.quantity.digits, reading.quantity.unit) == (digits, None)


@pytest.mark.parametrize(
    ("said", "digits"),
    [
        ("three four seven point zero", "347.0"),
        ("three four seven zero", "3470"),
        ("three four point seven zero", "34.70"),
        ("zero point zero seven", "0.07"),
        ("zero zero point eight zero", "00.80"),
        ("zero four point two zero", "04.20"),
        ("oh oh decimal eight oh", "00.80"),
        ("one two three four five", "12345"),
        ("niner niner point niner", "99.9"),
        ("five oh oh", "500"),
        ("five zero", "50"),
        ("one five", "15"),
        ("two two", "22"),
        ("four thousand", "4000"),
        ("zero", "0"),
    ],
)
def test_by_table(said: str, digits: str) -> None:
    utterance = parse(f"insulation {said} meg", Context(kind=QuantityKind.INSULATION_RESISTANCE))
    [reading] = utterance.readings
    assert reading.quantity.digits == digits
    assert set(utterance.doubts) <= UNASKED


@pytest.mark.parametrize("said", ["oh eight", "zero zero", "zero one five", "zero one five point"])
def test_a_leading_zero_without_a_point_is_asked_about(said: str) -> None:
    assert Doubt.DIGITS_AMBIGUOUS in parse(f"{said} meg", Context()).doubts


def test_spelt_digits_have_no_twin() -> None:
    """The way out of -teen or -ty: "five zero" is never fifteen."""
    for said in ("five zero meg", "one five meg"):
        assert Doubt.TEEN_OR_TY not in parse(said, Context()).doubts
        assert {other.quantity.digits for other in parse(said, Context()).alternatives} <= {"5.0", "1.5"}
