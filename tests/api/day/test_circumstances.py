"""Circumstances in a recording: with their value, or alone and then of the one before or the one to come.

What is true is what `said` spells into the samples of the recording: a truth outside the program. Which value a
circumstance said alone belongs to is a program's rule without source; where it could be either, it must be asked about.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from api.dialogue.actions import Choose, Confirm, Correct
from api.errors import Refused
from api.visit.proposals import proposals_of
from api.visit.records import current_records
from api.workspace import Workspace
from tests.api.day.afternoon import fill, memo, opened, take

PLACE = "x axis motor alone insulation set five hundred volts"
GROUND = "lead to ground"
FIRST, SECOND = f"{GROUND} one point two gig", f"{GROUND} three gig"


def taken(folder: Path, *said: str, apart_s: float = 20.0) -> Workspace:
    """Take a recording of such words in."""
    files = folder / "files"
    files.mkdir(parents=True)
    at = tuple((5.0 + apart_s * i, words) for i, words in enumerate(said))
    (files / "20261124-140000.wav").write_bytes(memo(at, apart_s * len(said) + 20))
    workspace = opened(folder / "data")
    take(workspace, files)
    return workspace


def noted(workspace: Workspace) -> list[tuple[str | None, str, bool]]:
    """Give value, what is noted beside it, and whether that is asked about, in order of time."""
    with workspace.database.read() as session:
        return [
            (one.reading.quantity.digits, one.notes.words, "notes_unsure" in [doubt.value for doubt in one.doubts])
            for one in proposals_of(session, "J1")
        ]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        # With its value.
        ((f"{FIRST} after cleaning", "cable alone", SECOND), [("after cleaning", False), ("", False)]),
        ((f"{FIRST} position three",), [("position three", False)]),
        # Before any value: of the next one, and of that alone.
        (("after cleaning", FIRST, "cable alone", SECOND), [("after cleaning", False), ("", False)]),
        (("leads zeroed", "position thirty degrees", FIRST), [("leads zeroed, position thirty degrees", False)]),
        # After a place was named it is of the next one.
        ((FIRST, "cable alone", "low battery", SECOND), [("", False), ("low battery", False)]),
        # What can only be seen once a value is there.
        ((FIRST, "value fell", "cable alone", SECOND), [("value fell", False), ("", False)]),
        # Between two values of one place: either.
        ((FIRST, "after cleaning", SECOND), [("", False), ("after cleaning", True)]),
        # No value comes any more.
        ((FIRST, "low battery"), [("low battery", True)]),
        # Corrected, lifted, withdrawn.
        ((FIRST, "correction after cleaning"), [("after cleaning", False)]),
        ((f"{FIRST} after cleaning", "not after cleaning"), [("", False)]),
        (("after cleaning", "undo that", FIRST), [("", False)]),
        ((f"{FIRST} after cleaning", "correction three gig"), [("after cleaning", False)]),
        # Not understood as one: talk.
        (("did you see the cleaning crew this morning", FIRST), [("", False)]),
    ],
)  # fmt: skip
def test_a_circumstance_finds_its_value(
    tmp_path: Path, said: tuple[str, ...], expected: list[tuple[str, bool]]
) -> None:
    workspace = taken(tmp_path, PLACE, *said)
    assert [one[1:] for one in noted(workspace)] == expected
    workspace.close()


def test_one_that_no_value_followed_is_told_and_noted_nowhere(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    said = ((5.0, PLACE), (20.0, FIRST), (90.0, "after cleaning"))
    (files / "20261124-140000.wav").write_bytes(memo(said))
    workspace = opened(tmp_path / "data")
    assert take(workspace, files).counts["circumstances unused"] == 1
    assert [words for _, words, _ in noted(workspace)] == [""]
    workspace.close()


def test_the_same_point_after_cleaning_is_no_place_in_doubt(tmp_path: Path) -> None:
    workspace = taken(tmp_path, PLACE, FIRST, f"{SECOND} after cleaning")
    with workspace.database.read() as session:
        assert [one.doubts for one in proposals_of(session, "J1")] == [(), ()]
    workspace.close()


def test_a_photo_that_agrees_keeps_what_is_noted_and_what_is_asked(tmp_path: Path) -> None:
    files = fill(tmp_path / "files", late_s=0)
    next(files.glob("*.wav")).unlink()
    said = ((3.0, "x axis motor alone five hundred volts"), (8.0, f"{GROUND} one gig"), (14.0, "after cleaning"),
            (20.0, f"{GROUND} one point eight gig"))  # fmt: skip
    (files / "20261124-140000.wav").write_bytes(memo(said))
    workspace = opened(tmp_path / "data")
    take(workspace, files, clock="recorder +0min")
    with workspace.database.read() as session:
        one = next(p for p in proposals_of(session, "J1") if p.row.source == "speech+photo")
    assert (one.row.agreement, one.notes.words) == ("agree", "after cleaning")
    assert "notes_unsure" in [doubt.value for doubt in one.doubts], "a display tells nothing of cleaning"
    workspace.close()


@pytest.mark.parametrize(("circumstances", "words"), [(["after_cleaning"], "after cleaning"), ([], "")])
def test_whose_it_is_is_settled_by_saying_so_and_by_nothing_else(
    tmp_path: Path, circumstances: list[str], words: str
) -> None:
    workspace = taken(tmp_path, "x axis motor alone", "u to v one ohm", "after cleaning", "v to w two ohms")
    with workspace.database.read() as session:
        one = proposals_of(session, "J1")[-1].id
    with pytest.raises(Refused):
        workspace.act(one, Confirm(1))
    workspace.act(one, Choose(0, None))
    workspace.act(one, Correct({"value": "2.1"}))
    assert noted(workspace)[-1] == ("2.1", "after cleaning", True)
    workspace.act(one, Correct({"circumstances": circumstances, "position": None}))
    with workspace.database.read() as session:
        revision = next(p.revision for p in proposals_of(session, "J1") if p.id == one)
    workspace.act(one, Confirm(revision))
    with workspace.database.read() as session:
        assert [record.notes.words for record in current_records(session, "J1")] == [words]
    workspace.close()
