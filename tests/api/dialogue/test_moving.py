"""A value that waits under the wrong job is moved to the right one with its evidence; nothing is lost or doubled.

What must hold is the product's own promise: a record only after a yes, every value linked to its clip or photo.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from api.dialogue.actions import Confirm, Correct
from api.dialogue.errors import AlreadyUnderJob
from api.ledger.evidence import captures_of
from api.proof.provenance import provenance_of
from api.visit.errors import JobNotOpen, NoSuchJob, ProposalChanged, ProposalSettled
from api.visit.proposals import proposal_for_page, proposal_of, proposals_of
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.day.afternoon import fill, opened, take
from tests.api.makers import JOB

READING = "x ray axis through the cable a one to a two one point zero eight ohms"
OTHER = {**JOB, "title": "Spindle", "machine": "Lathe 2", "axes": [{**JOB["axes"][1], "name": "Z"}]}


@pytest.fixture
def other(visit: Visit) -> str:
    return str(visit.workspace.create_job(OTHER)["id"])


def test_a_moved_value_is_dropped_here_and_asks_for_its_place_there(visit: Visit, other: str) -> None:
    (asked,) = visit.say(READING)["proposals"]
    answer = visit.workspace.move(asked["id"], other, asked["revision"])
    moved = answer["moved"]
    assert (moved["job_id"], moved["value"], moved["axis"], moved["terminals"]) == (other, "1.08", None, "A1-A2")
    assert {"place_unsure", "axis_missing"} <= set(moved["doubts"])
    assert (moved["clip_sha256"], moved["heard_text"]) == (asked["clip_sha256"], asked["heard_text"])
    assert [one["state"] for one in answer["proposals"]] == ["rejected"]
    assert "Nothing is open" in visit.say("confirm")["message"], "it is no question of this job any more"
    assert visit.records() == []


def test_its_clip_belongs_to_the_other_job_too_and_the_record_there_is_proved(visit: Visit, other: str) -> None:
    workspace = visit.workspace
    (asked,) = visit.say(READING)["proposals"]
    moved = workspace.move(asked["id"], other)["moved"]
    workspace.act(moved["id"], Correct(ReadingFields(axis="Z", section="motor_alone", terminals="U-V")))
    with workspace.database.read() as session:
        revision = proposal_of(session, moved["id"]).revision
    done = workspace.act(moved["id"], Confirm(revision))
    (record,) = done["records"]
    assert (record["job_id"], record["axis"], record["clip_sha256"]) == (other, "Z", asked["clip_sha256"])
    with workspace.database.read() as session:
        (way,) = provenance_of(session, other)
    assert "move by Technician 7" in way.line()
    assert asked["clip_sha256"][:12] in way.line()
    assert workspace.verify().intact, workspace.verify().problems


def test_values_of_one_recording_bring_it_along_once_and_back_again(tmp_path: Path) -> None:
    workspace = opened(tmp_path / "data")
    take(workspace, fill(tmp_path / "files"))
    other = str(workspace.create_job(OTHER)["id"])
    waiting = open_in(workspace, "J1")
    captures = files_of(workspace, "J1")
    both = [one for one in waiting if one["source"] == "speech+photo"][:3]
    moved = [workspace.move(one["id"], other)["moved"] for one in both]
    for before, after in zip(both, moved, strict=True):
        same = ("value", "unit", "terminals", "agreement", "clip_sha256", "photo_sha256", "crop_sha256", "captured_at")
        assert [after[name] for name in same] == [before[name] for name in same]
        assert (after["axis"], after["voice"]["axis"], after["photo"]["axis"]) == (None, None, None)
    there = files_of(workspace, other)
    assert len(there) == 4, "the recording and three photos, each once"
    assert set(there) <= set(captures)
    back = workspace.move(moved[0]["id"], "J1")["moved"]
    assert (back["value"], back["photo_sha256"]) == (both[0]["value"], both[0]["photo_sha256"])
    assert len(open_in(workspace, "J1")) == len(waiting) - 2
    assert files_of(workspace, "J1") == captures
    assert workspace.verify().intact, workspace.verify().problems
    workspace.close()


def open_in(workspace: Workspace, job_id: str) -> list[dict[str, Any]]:
    with workspace.database.read() as session:
        return [proposal_for_page(one) for one in proposals_of(session, job_id, "open")]


def files_of(workspace: Workspace, job_id: str) -> list[str]:
    with workspace.database.read() as session:
        return [one.sha256 for one in captures_of(session, job_id)]


def test_what_cannot_be_moved_is_refused_and_stays(visit: Visit, other: str) -> None:
    workspace = visit.workspace
    (asked,) = visit.say(READING)["proposals"]
    with pytest.raises(AlreadyUnderJob):
        workspace.move(asked["id"], "J1")
    with pytest.raises(NoSuchJob):
        workspace.move(asked["id"], "J99")
    with pytest.raises(ProposalChanged):
        workspace.move(asked["id"], other, asked["revision"] + 1)
    workspace.desk.move(other, "close", "done")
    with pytest.raises(JobNotOpen):
        workspace.move(asked["id"], other)
    workspace.act(asked["id"], Confirm(asked["revision"]))
    workspace.desk.move(other, "reopen", "not done")
    with pytest.raises(ProposalSettled):
        workspace.move(asked["id"], other)
    assert len(visit.records()) == 1
