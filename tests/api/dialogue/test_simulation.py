"""A sample of the simulated visits: the laws hold, and what the person notices never stands in a record.

The rates of ear and eye are those measured (`tests.api.dialogue.simulation.rates`); the table stands in the guide.
"""

from __future__ import annotations

from tests.api.dialogue.simulation.__main__ import AXES, interval, simulate
from tests.api.dialogue.simulation.rates import HEADSET, NO_PHOTO, PHOTO, SHOP, People

PER_VISIT = 12 * len(AXES)


def test_who_notices_everything_confirms_nothing_wrong() -> None:
    counts = simulate(SHOP, NO_PHOTO, People(notice=1.0), 30, seed=1)
    assert counts.wrong == 0
    assert counts.broken == 0
    assert counts.readings == 30 * PER_VISIT, "every reading of every axis came to stand in a record"


def test_nobody_needs_a_free_hand() -> None:
    counts = simulate(HEADSET, PHOTO, People(notice=0.95), 30, seed=2)
    assert counts.taps == 0
    assert counts.readings == 30 * PER_VISIT


def test_who_notices_nothing_confirms_what_the_ear_makes_of_it() -> None:
    """The simulation itself: without notice, as many are wrong as the ear, the eye and the person err, at least."""
    people = People(notice=0.0)
    counts = simulate(SHOP, NO_PHOTO, people, 60, seed=3)
    low, high = interval(counts.wrong, counts.readings)
    assert low < SHOP.wrong + people.contradict + SHOP.asked / 2 + 0.02
    assert high > SHOP.wrong + people.contradict
