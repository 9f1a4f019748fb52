"""Commands that act must sound like no other command and like nothing in a reading."""

from __future__ import annotations

from itertools import product

import pytest

from capture.language.lexicon import phone_set
from capture.reading import Command
from fixtures.training.speech_model.distances import (
    between,
    change,
    command_words,
    commands_apart,
    distance,
    nearest_reading,
    readings_apart,
)

ACTING = frozenset({Command.CONFIRM, Command.REJECT, Command.UNDO, Command.CORRECT})
"""What changes proposals or records. The others only show, repeat or open a camera, or are read back first."""

APART = 1.4
"""Least distance between two commands: about one sound of another class and half of one more (program's rule)."""

APART_FROM_READINGS = 1.5
"""Least distance of an acting command from anything in a reading (program's rule)."""


def test_a_change_costs_nothing_for_the_same_and_as_much_both_ways() -> None:
    for one, other in product(phone_set(), repeat=2):
        assert 0 <= change(one, other) <= 1
        assert (change(one, other) == 0) == (one == other)
        assert change(one, other) == pytest.approx(change(other, one))


@pytest.mark.parametrize(
    ("near", "far"),
    [(("P", "T"), ("P", "M")), (("M", "N"), ("M", "S")), (("F", "TH"), ("F", "D")), (("B", "D"), ("B", "SH"))],
)
def test_what_noise_confuses_most_is_nearest(near: tuple[str, str], far: tuple[str, str]) -> None:
    """Miller and Nicely (1955): in noise p, t, k and m, n and f, th are taken for one another first (from memory)."""
    assert change(*near) < change(*far)


def test_distance_of_rows_of_phones() -> None:
    assert distance(("K", "AE", "T"), ("K", "AE", "T")) == 0
    assert distance(("K", "AE", "T"), ("K", "AE")) == distance(("K", "AE"), ("K", "AE", "T")) == 0.75
    assert distance(("K", "AE", "T"), ("G", "AE", "T")) == pytest.approx(change("K", "G"))
    assert distance((), ("HH",)) == 0.5


def test_a_reading_is_nearest_to_itself_and_thirteen_to_thirty() -> None:
    phones = tuple("F IH F T IY M EH G".split())  # noqa: SIM905
    assert nearest_reading(phones) == (0.0, ("fifty", "meg"))
    assert between("thirteen", "thirty") < 1 < between("thirteen", "seventy")


def test_no_two_commands_sound_alike() -> None:
    nearest = commands_apart()[0]
    assert nearest.distance >= APART, nearest


def test_no_acting_command_sounds_like_a_reading() -> None:
    named = command_words()
    for near in readings_apart():
        assert named[near.command] not in ACTING or near.distance >= APART_FROM_READINGS, near
