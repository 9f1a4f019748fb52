"""Places that were not understood: what follows is asked about, and one answer a value settles its place alone.

What is true is what `said` spells into the samples of the recording: a truth outside the program.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from random import Random

import pytest

from api.day.places import plainly_talk
from api.dialogue.actions import Choose, Confirm, Correct
from api.errors import Refused
from api.visit.proposals import proposals_of
from api.workspace import Workspace
from capture.reading import Heard, Hypothesis, OwnTranscript, Word
from tests.api.day.afternoon import memo, opened, proposed, take
from tests.benchmarks.day.places import EARS, counted

GROUND = "lead to ground"


def taken(folder: Path, *said: str) -> tuple[Workspace, list[tuple[str, str, str, bool]]]:
    """Take a recording of such words in; returns axis, part, value, and whether the place is asked about."""
    files = folder / "files"
    files.mkdir(parents=True)
    at = [(5.0 + 20 * i, words) for i, words in enumerate(said)]
    (files / "20261124-140000.wav").write_bytes(memo(tuple(at), 20.0 * len(said) + 20))
    workspace = opened(folder / "data")
    take(workspace, files)
    waiting = proposed(workspace)
    return workspace, [(p["axis"], p["section"], p["value"], "place_unsure" in p["doubts"]) for p in waiting]


def test_what_follows_words_that_may_have_been_a_place_is_asked_about_until_one_is_named(tmp_path: Path) -> None:
    workspace, found = taken(
        tmp_path, "x axis motor alone insulation set five hundred volts", f"{GROUND} one point two gig",
        "able along", f"{GROUND} one point three gig", "through the cable", f"{GROUND} one point four gig",
        "y axis motor alone", f"{GROUND} one point five gig",
    )  # fmt: skip
    assert found == [
        ("X", "motor_alone", "1.2", False), ("X", "motor_alone", "1.3", True),
        ("X", "through_cable", "1.4", True),  # "able along" may have named an axis
        ("Y", "motor_alone", "1.5", False),
    ]  # fmt: skip
    workspace.close()


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        # The part was not heard at all: the point comes again.
        (("x axis motor alone", f"insulation {GROUND} two gig", f"{GROUND} three gig"), [False, True]),
        # One of two parts was taken for the other: both are asked about.
        (("x axis motor alone", f"insulation {GROUND} two gig", "motor alone", f"{GROUND} three gig"), [True, True]),
        # A plan begins again with nothing said.
        (("x axis motor alone", f"insulation {GROUND} two gig", "u to v one point two ohms"), [False, True]),
        # Another axis, and nothing of its part.
        (("x axis motor alone", f"insulation {GROUND} two gig", "y axis", f"{GROUND} three gig"), [False, True]),
        # A cable has no winding.
        (("x axis cable alone", "u to v one point two ohms"), [True]),
        # Talk is passed over.
        (("x axis motor alone", "did you see the game last night", f"insulation {GROUND} two gig"), [False]),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_asked_about(tmp_path: Path, said: tuple[str, ...], asked: list[bool]) -> None:
    workspace, found = taken(tmp_path, *said)
    assert [unsure for *_, unsure in found] == asked
    workspace.close()


def test_the_place_is_settled_by_axis_and_part_and_by_nothing_else(tmp_path: Path) -> None:
    workspace, _ = taken(tmp_path, "x axis cable alone", "u to v one point two ohms")
    (one,) = _ids(workspace)
    with pytest.raises(Refused):
        workspace.act(one, Confirm(1))
    workspace.act(one, Choose(0, None))
    assert proposed(workspace)[0]["doubts"] == ["place_unsure"], "the value was chosen, not the place"
    workspace.act(one, Correct({"value": "1.3"}))
    assert proposed(workspace)[0]["doubts"] == ["place_unsure"]
    workspace.act(one, Correct({"axis": "X", "section": "motor_alone"}))
    assert (proposed(workspace)[0]["section"], proposed(workspace)[0]["doubts"]) == ("motor_alone", [])
    workspace.close()


def _ids(workspace: Workspace) -> list[str]:
    with workspace.database.read() as session:
        return [one.id for one in proposals_of(session, "J1")]


def test_only_what_is_plainly_talk_is_passed_over() -> None:
    def heard(text: str, free: str | None, other: str = "", seconds: float = 1.0) -> Heard:
        second = None if free is None else OwnTranscript("free", free, -9.0, 9)
        others = (Hypothesis(other, -1.0),) if other else ()
        return Heard(text, (Word(text, 0.0, seconds, 0.9),), others, seconds, second=second)

    assert plainly_talk(heard("[unk]", "and then he said he would come on tuesday"))
    assert not plainly_talk(heard("[unk] alone", "more to"))
    assert not plainly_talk(heard("[unk]", "the motor and then something else again"))
    assert not plainly_talk(heard("[unk]", None, "cable alone"))
    assert not plainly_talk(heard("[unk]", None)), "too little to tell"
    assert plainly_talk(heard("[unk]", None, seconds=8.0)), "longer than any place"


def test_simulated_visits_are_asked_about_where_they_must_and_nowhere_else() -> None:
    """Twelve of the benchmark's visits with a perfect ear, and twelve whose places are mangled one time in ten."""
    right, mangled = Counter[str](), Counter[str]()
    for number in range(12):
        right += counted(Random(number), EARS["none"])
        mangled += counted(Random(number), EARS["mangled 10 %"])
    assert right["right"] > 100
    assert not right["wrong"]
    assert not right["right, asked about"]
    assert mangled["wrong"] > 10
    assert mangled["wrong"] == mangled["wrong, asked about"]
