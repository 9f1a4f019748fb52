"""Thirteen or thirty ... nineteen or ninety: the other one is always offered (num2words and text2num say which)."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words
from text_to_num import text2num

from capture.language.numbers import read_number
from capture.language.parse import parse
from capture.reading import Context
from grading.terms.quantity import QuantityKind

IR = Context(kind=QuantityKind.INSULATION_RESISTANCE, test_voltage_set=Decimal(500))
TEENS = {num2words(number): num2words((number - 10) * 10) for number in range(13, 20)}
ALIKE = TEENS | {tens: teen for teen, tens in TEENS.items()}
"""Thirteen and thirty and so on, by num2words' spelling."""


def words_of(number: int, *, use_and: bool = False) -> list[str]:
    return re.sub(r"[,-]", " ", num2words(number, lang="en_GB" if use_and else "en")).replace(" and ", " ").split()


def twins_of(words: list[str]) -> set[int]:
    """List numbers whose words differ from these by one -teen or -ty, where the exchange gives a number."""
    found = set()
    for at, word in enumerate(words):
        other = [*words[:at], ALIKE.get(word, word), *words[at + 1 :]]
        if other != words:
            try:
                number = text2num(" ".join(other), "en")
            except ValueError:  # "thirteen five" is no number
                continue
            if words_of(number) == other:
                found.add(number)
    return found


def test_the_pairs_are_the_seven_of_the_language() -> None:
    assert len(ALIKE) == 14
    assert ALIKE["fifteen"] == "fifty"
    assert ALIKE["ninety"] == "nineteen"


@settings(deadline=None, max_examples=400)
@given(number=st.one_of(st.integers(1, 999), st.integers(1, 999_999)))
def test_every_twin_of_a_cardinal_is_offered(number: int) -> None:
    words = words_of(number)
    found = read_number(words)
    assert found is not None
    assert {str(twin) for twin in twins_of(words)} <= set(found.twins)


@pytest.mark.parametrize("number", [*range(13, 20), *range(30, 100, 10), 113, 130, 215, 250, 919, 990, 1013, 13_000])
def test_a_reading_near_another_offers_it_with_everything_else_unchanged(number: int) -> None:
    for unit, tail in (("meg", ""), ("meg", " and a half"), ("meg", " point five")):
        text = f"{' '.join(words_of(number))}{tail} {unit}"
        utterance = parse(f"x ray axis u to ground {text}", IR)
        (reading,) = utterance.readings
        others = {other.quantity.digits for other in utterance.alternatives}
        fraction = ".5" if tail else ""
        assert reading.quantity.digits == f"{number}{fraction}"
        assert {f"{twin}{fraction}" for twin in twins_of(words_of(number))} <= others
        assert {(other.axis, other.terminals) for other in utterance.alternatives} == {("X", "U-PE")}


@pytest.mark.parametrize("number", [13, 14, 15, 16, 17, 18, 19])
def test_hundreds_said_by_tens_and_joined_pairs_offer_theirs(number: int) -> None:
    teen, tens = num2words(number), ALIKE[num2words(number)]
    for said, digits, other in (
        (f"{teen} hundred meg", f"{number}00", f"{number - 10}000"),
        (f"{tens} hundred meg", f"{number - 10}000", f"{number}00"),
        (f"two {teen} meg", f"2{number}", f"2{number - 10}0"),
        (f"two {tens} meg", f"2{number - 10}0", f"2{number}"),
        (f"two hundred and {teen} meg", f"2{number}", f"2{number - 10}0"),
    ):
        utterance = parse(said, IR)
        assert utterance.readings[0].quantity.digits == digits
        assert other in {found.quantity.digits for found in utterance.alternatives}, said


def test_a_time_and_a_voltage_near_another_are_offered_too() -> None:
    """A ratio of absorption stands on the time: fifteen seconds is not fifty."""
    timed = parse("two hundred meg after fifteen seconds", IR)
    assert timed.readings[0].elapsed_s == 15
    assert 50 in {other.elapsed_s for other in timed.alternatives}
    built = parse("built to fifty volts", IR)
    assert built.readings[0].test_voltage_built == 50
    assert 15 in {other.test_voltage_built for other in built.alternatives}


def test_in_a_list_by_leads_each_keeps_its_twin() -> None:
    utterance = parse("u to ground fifteen meg v to ground sixty meg w to ground two meg", IR)
    twins = {(other.terminals, other.quantity.digits) for other in utterance.alternatives}
    assert {("U-PE", "50"), ("V-PE", "16")} <= twins
    assert not any(place == "W-PE" for place, _ in twins)
