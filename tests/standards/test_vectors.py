"""Every vector of `vectors.jsonl` against grading; the source stands in each line of that file."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest

from grading.rulebook import RULES
from tests.standards.functions import FUNCTIONS
from tests.standards.vectors import Vector, vectors

ALL = vectors()
STATUSES = {
    "read in the document",
    "read in a secondary text",
    "quoted second-hand, document not opened",
    "from memory",
    "common practice, no source",
    "house rule",
    "computed from a stated formula",
}


def agree(found: Any, expected: Any, tol: Any) -> bool:
    """Tell whether numbers agree within the tolerance and everything else exactly, element by element."""
    if isinstance(expected, dict):
        return all(agree(found[key], value, tol) for key, value in expected.items())
    if isinstance(expected, list):
        return len(found) == len(expected) and all(agree(f, e, tol) for f, e in zip(found, expected, strict=True))
    if isinstance(expected, bool) or expected is None:
        return found is expected
    number = re.compile(r"-?\d+(\.\d+)?")
    if isinstance(expected, str) and not (number.fullmatch(expected) and number.fullmatch(str(found))):
        if number.fullmatch(expected):
            return agree(found, float(expected), tol)
        return bool(found == expected)
    slack = abs(float(expected)) * tol[1] if isinstance(tol, list) else float(tol)
    # One part in 10¹² over the stated tolerance lets "exact" decimals pass through binary floats.
    return abs(float(found) - float(expected)) <= slack + 1e-12 * max(1.0, abs(float(expected)))


@pytest.mark.parametrize("vector", ALL, ids=lambda v: v.id)
def test_vector(vector: Vector) -> None:
    found = FUNCTIONS[vector.fn](*vector.args)
    assert agree(found, vector.expect, vector.tol), f"{vector.id} ({vector.source}): {found} is not {vector.expect}"


def test_vectors_are_well_formed() -> None:
    assert len(ALL) >= 120
    assert len({v.id for v in ALL}) == len(ALL)
    assert {v.status for v in ALL} <= STATUSES
    assert {v.rule for v in ALL} <= set(RULES)
    assert all(v.source for v in ALL)
    assert {v.fn for v in ALL} == set(FUNCTIONS)


@pytest.mark.parametrize(
    ("found", "expected", "tol", "same"),
    [
        (Decimal("1.0005"), 1.0, 0.001, True),
        (Decimal("1.002"), 1.0, 0.001, False),
        (Decimal("101"), 100, ["rel", 0.02], True),
        (Decimal("103"), 100, ["rel", 0.02], False),
        ("cable", "motor", 0, False),
        ([1, 3], [1, 2], 0.1, False),
        (True, False, 0, False),
        ({"t": 1.0}, {"t": 2.0}, 0.1, False),
    ],
)
def test_comparison_can_fail(found: Any, expected: Any, tol: Any, same: bool) -> None:
    assert agree(found, expected, tol) is same
