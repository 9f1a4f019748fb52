"""What is looked up in sorted lists against the same asked pair by pair, as the definitions say it."""

from __future__ import annotations

import random
from collections.abc import Sequence
from decimal import Decimal

from grading.limits import LIMITS
from grading.neighbours import Neighbours, SizedReading
from grading.slips import thousandfold
from grading.terms.quantity import unit
from grading.winding import OneChanged, unbalance_percent
from tests.grading.making import MOTOR, ir, ll

WITHIN = LIMITS["plausible.same_digits"].value / 100
UNITS = ("Ohm", "mOhm", "kOhm", "MOhm")


def agree(one: Decimal, other: Decimal, halves: Decimal) -> bool:
    return abs(one - other) <= halves + WITHIN * max(one, other)


def differ_by_unit(one: SizedReading, other: SizedReading) -> bool:
    """Tell what sets two readings apart by its definition: digits that agree in one unit, values that do not."""
    if one.unit == other.unit:
        return False
    factor = unit(other.unit).factor / unit(one.unit).factor
    as_meant = agree(one.value * factor, other.value, one.half * factor + other.half)
    return as_meant and not agree(one.value, other.value, one.half + other.half)


def drawn(draw: random.Random) -> list[SizedReading]:
    group = []
    for _ in range(draw.randrange(1, 25)):
        some = ("0", "0.0", "1", "1.2", "1.20", "1.31", f"{draw.uniform(0, 3):.2f}", f"{draw.uniform(0, 999):.1f}")
        text = draw.choice(some)
        m = ll(MOTOR, text, "U-V", draw.choice(UNITS))
        value = m.quantity.in_base
        assert value is not None
        group.append(SizedReading(m, value, m.quantity.digit_in_base / 2))
    return group


def test_neighbours_are_those_of_the_definition() -> None:
    draw, found = random.Random(5), 0
    for _ in range(150):
        group = drawn(draw)
        near = Neighbours(group, WITHIN)
        for one in group:
            apart = [place for place, other in enumerate(group) if differ_by_unit(one, other)]
            assert sorted(near.apart(one)) == apart
            assert near.rank(one) == (-len(apart), sum(other.unit == one.unit for other in group))
            found += len(apart)
    assert found > 200


def test_the_one_that_stands_alone_is_asked_about() -> None:
    rows = [ll(MOTOR, "1.20", "U-V"), ll(MOTOR, "1.21", "V-W"), ll(MOTOR, "1.19", "W-U", "kOhm")]
    assert [*thousandfold(rows, LIMITS)] == [id(rows[2])]
    low = [ir(MOTOR, "500"), ir(MOTOR, "498"), ir(MOTOR, "501", "kOhm")]
    assert [*thousandfold(low, LIMITS)] == [id(low[2])]


def test_unbalance_with_one_reading_changed_is_that_of_the_whole_list() -> None:
    draw = random.Random(6)
    for _ in range(300):
        values = [Decimal(draw.randrange(1, 400)) / 100 for _ in range(draw.randrange(2, 9))]
        changed = OneChanged(values)
        for index in range(len(values)):
            other = Decimal(draw.randrange(1, 400)) / 100
            assert changed.unbalance(index, other) == unbalance_percent(replaced(values, index, other))


def replaced(values: Sequence[Decimal], index: int, other: Decimal) -> list[Decimal]:
    return [*values[:index], other, *values[index + 1 :]]
