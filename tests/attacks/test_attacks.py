"""A sample of the random attacks; `python -m tests.attacks` plays ten thousand and more."""

from __future__ import annotations

from pathlib import Path

from tests.attacks.__main__ import play_all
from tests.attacks.kinds import BEYOND, FOUND
from tests.attacks.play import make_target


def test_every_kind_of_attack_is_found_or_said_to_be_beyond_proof(tmp_path: Path) -> None:
    played = play_all(make_target(tmp_path), each=6, seed=20261129, enclosed=1)
    assert {one.kind for one in played} == {*FOUND, *BEYOND, "nothing changed"}
    assert [one for one in played if one.wrong] == []
