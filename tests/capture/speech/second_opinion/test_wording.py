"""Between two engines' ways to write: the second one's text in our words, and ours as it may write them."""

from __future__ import annotations

import pytest

from capture.speech.second_opinion.wording import in_our_words, plain_ways, spellings

DIGITS = frozenset(("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"))


@pytest.mark.parametrize(
    ("written", "heard", "ours"),
    [
        # As the engine wrote voices that were set aside; the first engine's words beside it.
        ("13 megams.", "thirty megohms", ("thirteen megohms", "one three megohms")),
        ("Delta axes -", "delta axis", ("delta axis",)),
        ("1.59.", "one point five nine", ("one point five nine",)),
        ("258.", "two five eight", ("two hundred fifty eight", "two five eight")),
        ("Set to 500 volts.", "set five hundred volts", ("set to five hundred volts", "set to five zero zero volts")),
    ],
)
def test_its_text_comes_out_in_our_words(written: str, heard: str, ours: tuple[str, ...]) -> None:
    assert in_our_words(written, heard) == ours


@pytest.mark.parametrize("written", ["", "We call it bear.", "Theodore's way five won."])
def test_talk_cannot_be_said_in_our_words(written: str) -> None:
    assert in_our_words(written, "zero three five one") == ()


def test_only_listed_words_come_out() -> None:
    assert in_our_words("Nice 6-2-4", "nine six two four", DIGITS.__contains__) == ("nine six two four",)
    assert in_our_words("Sixty four", "nine one", DIGITS.__contains__) == ()


def test_trade_words_are_spelt_in_words_that_it_knows_too() -> None:
    assert spellings("five megohms") == ("five megohms", "five mega ohms")
    assert spellings("[unk] confirm [unk]") == ("confirm",)


def test_a_transcript_is_put_into_plain_words_whether_they_are_ours_or_not() -> None:
    assert plain_ways("Ben!") == ("ben",)
    assert plain_ways("7 8.") == ("seven eight",)
    assert plain_ways("78.") == ("seventy eight", "seven eight")
    assert plain_ways("...") == ()
