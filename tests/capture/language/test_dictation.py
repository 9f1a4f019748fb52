"""Dictation: what goes without saying is added, and nothing else. The examples are the trade's own way to dictate."""

from __future__ import annotations

import pytest

from capture.language.dictation import dictated, goes_on, unfinished
from capture.reading import Context
from grading.terms.quantity import QuantityKind

TO_GROUND = Context(kind=QuantityKind.INSULATION_RESISTANCE)


@pytest.mark.parametrize(
    ("said", "meant", "context"),
    [
        ("z axis motor alone five hundred volts", "z axis motor alone insulation set five hundred volts", Context()),
        ("u one point eight gig", "u to ground one point eight gig", TO_GROUND),
        ("v the same", "v to ground the same", TO_GROUND),
        ("u to v one point two ohms", "u to v one point two ohms", TO_GROUND),
        ("u one point eight gig", "u one point eight gig", Context()),
        ("u axis motor alone", "u axis motor alone", TO_GROUND),
        (
            "lead to ground point eight meg at seventy volts",
            "lead to ground point eight meg at seventy volts",
            TO_GROUND,
        ),
        ("motor alone four hundred volts", "motor alone four hundred volts", Context()),
    ],
)
def test_what_goes_without_saying(said: str, meant: str, context: Context) -> None:
    assert " ".join(dictated(said.split(), context, ("X", "Z"))) == meant


def test_a_lead_is_an_axis_where_the_job_has_one() -> None:
    assert dictated(["u", "two", "gig"], TO_GROUND, ("U",)) == ["u", "two", "gig"]


@pytest.mark.parametrize(
    ("first", "second", "one"),
    [
        ("point eight", "gig", True), ("greater than", "four thousand megohms", True), ("point", "eight meg", True),
        ("point eight meg", "gig", False), ("point eight", "v one point two gig", False), ("motor alone", "meg", False),
    ],
)  # fmt: skip
def test_which_words_belong_to_one_reading(first: str, second: str, one: bool) -> None:
    assert (unfinished(first) and goes_on(first, second)) == one
