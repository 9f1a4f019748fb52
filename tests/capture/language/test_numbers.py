"""Spoken numbers against outside oracles: num2words for cardinals and decimals, text2num on what both understand."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words
from text_to_num import text2num

from capture.language.numbers import TWINS, read_number
from capture.language.say import cardinal, digit_by_digit, unit_words
from grading.terms.quantity import UNITS, parse_digits

NUMBER_WORDS = [
    *("zero", "oh", "nought", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner"),
    *("ten", "eleven", "twelve", "thirteen", "fifteen", "nineteen", "twenty", "thirty", "fifty", "ninety"),
    *("hundred", "thousand", "million", "a", "and", "point", "dot", "decimal"),
]


def words_of(text: str) -> list[str]:
    return re.sub(r"[,-]", " ", text).split()


@settings(deadline=None)
@given(number=st.integers(0, 999_999))
def test_cardinals_as_num2words_writes_them(number: int) -> None:
    for lang in ("en", "en_GB"):
        words = words_of(num2words(number, lang=lang))
        found = read_number(words)
        assert found is not None
        assert (found.digits, found.end) == (str(number), len(words))
        assert not found.ambiguous


@settings(deadline=None)
@given(number=st.integers(0, 999_999))
def test_our_cardinals_are_num2words_cardinals(number: int) -> None:
    assert cardinal(number) == [word for word in words_of(num2words(number)) if word != "and"]
    assert cardinal(number, use_and=True) == words_of(num2words(number))


@settings(deadline=None)
@given(whole=st.integers(0, 9999), places=st.text("123456789", min_size=1, max_size=4))
def test_decimals_as_num2words_writes_them(whole: int, places: str) -> None:
    """num2words drops trailing zeros of a number given as text, so none is given here; ours are tested below."""
    words = words_of(num2words(Decimal(f"{whole}.{places}")))
    found = read_number(words)
    assert found is not None
    assert (found.digits, found.end) == (f"{whole}.{places}", len(words))


@settings(deadline=None)
@given(number=st.integers(0, 999_999))
def test_text2num_agrees_on_cardinals(number: int) -> None:
    text = " ".join(cardinal(number))
    found = read_number(text.split())
    assert found is not None
    assert int(found.digits) == text2num(text, "en")


@given(whole=st.integers(0, 99_999), places=st.text("0123456789", max_size=3), lead=st.booleans())
def test_digit_by_digit_keeps_every_digit(whole: int, places: str, lead: bool) -> None:
    digits = f"{whole}.{places}" if places else str(whole)
    spoken = digits[1:] if lead and digits.startswith("0.") else digits
    words = digit_by_digit(spoken)
    found = read_number(words)
    assert found is not None
    assert (found.digits, found.end) == (digits, len(words))


@settings(max_examples=1000)
@given(words=st.lists(st.sampled_from(NUMBER_WORDS), min_size=1, max_size=9))
def test_any_number_words_give_plain_digits_or_nothing(words: list[str]) -> None:
    found = read_number(words)
    if found is not None:
        for digits in (found.digits, *found.twins, *found.lost_point):
            parse_digits(digits)
        assert 0 < found.end <= len(words)


# Common practice, no published source: how pairs, digit strings and the letter O are said (domain notes 12.1).
@pytest.mark.parametrize(
    ("text", "digits", "lost_point", "ambiguous"),
    [
        ("thirty four seventy", "3470", "34.70", True),
        ("five fifty", "550", "5.50", False),
        ("one oh five", "105", "1.05", False),
        ("twelve fifty", "1250", "12.50", True),
        ("twenty two hundred", "2200", None, False),
        ("three four seven zero", "3470", None, False),
        ("five oh oh", "500", "5.00", False),
        ("niner niner nine", "999", "9.99", False),
        ("thirty four oh five", "3405", "34.05", True),
        ("five fifty thousand", "550000", None, False),
        ("two point five thousand", "2500", None, False),
        ("oh eight", "0.8", "0.08", True),
        ("oh four one point two one", "41.21", None, True),
        ("point eight zero", "0.80", None, False),
        ("nought point oh five", "0.05", None, False),
        ("point twenty five", "0.25", None, False),
        ("one point two one point three", "1.2", None, True),
        ("a thousand and five", "1005", None, False),
        ("oh", "0", None, False),
    ],
)
def test_forms_of_the_trade(text: str, digits: str, lost_point: str | None, ambiguous: bool) -> None:
    found = read_number(text.split())
    assert found is not None
    assert found.digits == digits
    assert found.ambiguous is ambiguous
    if lost_point is not None:
        assert lost_point in found.lost_point


@pytest.mark.parametrize("pair", list(TWINS.items()))
def test_every_teen_offers_its_ty_and_back(pair: tuple[str, str]) -> None:
    word, twin = pair
    found, other = read_number([word]), read_number([twin])
    assert found is not None
    assert other is not None
    assert found.twins == (other.digits,)


def test_a_hundred_and_eight_hundred_offer_each_other() -> None:
    first, second = read_number(["a", "hundred"]), read_number(["eight", "hundred"])
    assert first is not None
    assert second is not None
    assert (first.digits, first.twins) == ("100", ("800",))
    assert (second.digits, second.twins) == ("800", ("100",))


@pytest.mark.parametrize("text", ["", "a", "hundred", "and", "point", "thousand", "okay", "point banana"])
def test_no_number(text: str) -> None:
    assert read_number(text.split()) is None


def test_cardinal_refuses_what_no_meter_shows() -> None:
    with pytest.raises(ValueError, match="outside"):
        cardinal(1_000_000_000)


def test_every_unit_has_its_words() -> None:
    for code in UNITS:
        assert unit_words(code)
        assert unit_words(code, singular=True)
