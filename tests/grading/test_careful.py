"""Axes that were written by hand to fool grading: each verdict is argued in `careful.json`, not read off a rule."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

import pytest

from tests.grading.careful import broken, cases, graded

CASES = cases()


@pytest.mark.parametrize("case", CASES, ids=[f"{case['item']}: {case['name']}" for case in CASES])
def test_the_verdict_is_as_argued(case: Mapping[str, Any]) -> None:
    assert broken(case) == [], case["why"]


def test_there_are_many_and_each_is_argued() -> None:
    assert len(CASES) >= 100
    assert all(case["why"] and case["rows"] for case in CASES)
    assert len({(case["item"], case["name"]) for case in CASES}) == len(CASES)


def test_a_broken_expectation_is_found() -> None:
    case = dict(next(case for case in CASES if case.get("verdict") == ["unacceptable"]))
    assert broken(case | {"verdict": ["acceptable"]}) == ["verdict is 'unacceptable', wanted ['acceptable']"]
    assert broken(case | {"not_drive": ["unacceptable"]})


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_rows_without_notes_decides_nothing(seed: int) -> None:
    rng = random.Random(seed)
    for case in CASES:
        if any("noted=" in line for line in case["rows"]) or "history" in case:
            continue
        rows = list(case["rows"])
        rng.shuffle(rows)
        first, second = graded(case), graded({**case, "rows": rows})
        assert (first.verdict, first.fault, first.drive.verdict) == (second.verdict, second.fault, second.drive.verdict)
