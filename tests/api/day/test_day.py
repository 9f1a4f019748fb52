"""A day's files: everything once, in any order, by any number of workers, after any stop; nothing a record by itself.

What must come out is what `tests.api.day.afternoon` wrote into the files: a truth outside the program.
"""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import numpy as np
import pytest
from sqlmodel import select

from api.day.errors import DayJobUnknown, DayResultsGone
from api.day.recognising import FOLDER, Results
from api.ledger.tables import CaptureRow, EvidenceRow
from api.visit.records import current_records
from api.workspace import Workspace
from capture.speech.memo import Piece
from tests.api.day.afternoon import SHOWN, DayFakes, fill, memo, opened, proposed, take
from tests.api.makers import JOB

VALUES = [
    ("X", "motor_alone", "lead-ground", "1.80", "GOhm"), ("X", "motor_alone", "U-V", "1.20", "Ohm"),
    ("X", "cable_alone", "lead-ground", "900", "MOhm"), ("Y", "motor_alone", "lead-ground", "550", "MOhm"),
    ("Y", "cable_alone", "lead-ground", "640", "MOhm"), ("Y", "through_cable", "lead-ground", "410", "MOhm"),
]  # fmt: skip


def values(workspace: Workspace) -> list[tuple[str, ...]]:
    return [
        (one["axis"], one["section"], one["terminals"], one["value"], one["unit"])
        for one in proposed(workspace)
        if one["source"] == "speech+photo"
    ]


def test_values_and_photos_find_each_other_although_a_clock_is_off(tmp_path: Path) -> None:
    workspace = opened(tmp_path / "data")
    outcome = take(workspace, fill(tmp_path / "files"))
    assert outcome.clocks.how == "found"
    assert abs(outcome.clocks.recorder_s - 3485) <= 5, "the photos were taken five to seven seconds after the words"
    assert values(workspace) == VALUES
    waiting = proposed(workspace)
    both = [one for one in waiting if one["source"] == "speech+photo"]
    assert all(one["agreement"] == "agree" for one in both)
    # Ohms between leads after a value to ground, with nothing said: a plan that begins again, perhaps on another axis.
    doubts: list[list[str]] = [[], ["place_unsure"], ["place_unsure"], [], [], []]
    assert [one["doubts"] for one in both] == doubts
    alone = [one for one in waiting if one["source"] == "photo"]
    assert [(one["value"], one["axis"]) for one in alone] == [("77", None)]
    assert "axis_missing" in alone[0]["doubts"], "a photo that no word was said for asks where it belongs"
    assert len(waiting) == len(SHOWN)
    with workspace.database.read() as session:
        assert not current_records(session, "J1"), "nothing is a record before its yes"
        clips = session.exec(select(EvidenceRow).where(EvidenceRow.kind == "clip")).all()
        recording = session.exec(select(EvidenceRow).where(EvidenceRow.kind == "memo")).one()
    assert {clip.parent_sha256 for clip in clips} == {recording.sha256}
    assert workspace.verify().summary.startswith("intact"), workspace.verify().problems
    workspace.close()


def test_the_same_in_any_order_by_any_number_of_workers_after_any_stop(tmp_path: Path) -> None:
    files = fill(tmp_path / "files")
    first = opened(tmp_path / "first")
    take(first, files)
    expected = proposed(first)
    first.close()
    rng = random.Random(7)
    for number in range(2):
        shuffled = tmp_path / f"shuffled{number}"
        shuffled.mkdir()
        names = [path.name for path in files.iterdir()]
        for place, name in enumerate(rng.sample(names, len(names))):
            folder = shuffled / str(place % 3)
            folder.mkdir(exist_ok=True)
            shutil.copy2(files / name, folder / name)
        data = tmp_path / f"data{number}"
        stopped = opened(data, DayFakes(stop_at=rng.randrange(0, 9)))
        with pytest.raises(KeyboardInterrupt):
            take(stopped, shuffled, workers=1 + number)
        assert not proposed(stopped), "all of it goes on record, or nothing"
        stopped.close()
        again = opened(data)
        take(again, shuffled, workers=3)
        assert proposed(again) == expected
        again.close()


def test_clips_wait_on_disk_and_one_that_was_deleted_is_cut_anew(tmp_path: Path) -> None:
    files = fill(tmp_path / "files")
    whole = opened(tmp_path / "whole")
    take(whole, files)
    data = tmp_path / "data"
    stopped = opened(data, DayFakes(stop_at=8))
    with pytest.raises(KeyboardInterrupt):
        take(stopped, files)
    stopped.close()
    kept = sorted((data / FOLDER).glob("*.flac"))
    assert len(kept) > 3
    kept[1].unlink()
    again = opened(data)
    take(again, files)
    assert proposed(again) == proposed(whole)
    assert not (data / FOLDER).exists()
    again.close()
    whole.close()


def test_clips_deleted_under_its_hands_are_said(tmp_path: Path) -> None:
    results = Results(tmp_path / "day", DayFakes())
    (span,) = DayFakes().hear_piece(spelled("x axis"))
    kept = results.put_piece(spelled("x axis"), [span])
    assert (kept.spans[0].clip, results.clip("f" * 64, kept.spans[0])) == (b"", span.clip)
    assert results.piece(spelled("x axis")) == kept
    shutil.rmtree(tmp_path / "day")
    with pytest.raises(DayResultsGone, match="Start the same command again"):
        results.clip("f" * 64, kept.spans[0])


def spelled(words: str) -> Piece:
    samples = np.frombuffer(words.encode(), np.uint8).astype("<i2")
    return Piece("f" * 64, 0, 0.0, (0.0, 60.0), samples.tobytes())


def test_a_file_seen_before_is_said_and_taken_once(tmp_path: Path) -> None:
    files = fill(tmp_path / "files")
    shutil.copy2(files / "IMG_0.png", files / "copy of IMG_0.png")
    workspace = opened(tmp_path / "data")
    outcome = take(workspace, files)
    assert [(path.name, same) for path, same in outcome.doubles] == [("copy of IMG_0.png", "IMG_0.png")]
    before = proposed(workspace)
    outcome = take(workspace, files)
    assert len(outcome.before) == 1 + len(SHOWN)
    assert all(one.before for one in outcome.before)
    assert proposed(workspace) == before
    with workspace.database.read() as session:
        assert len(session.exec(select(CaptureRow)).all()) == 1 + len(SHOWN)
    workspace.close()


def test_bad_files_stop_nothing_and_are_named_with_what_to_do(tmp_path: Path) -> None:
    files = fill(tmp_path / "files")
    whole = memo(salt=1)
    bad = {
        "empty.m4a": b"", "letter.txt": b"Dear customer", "cut.png": (files / "IMG_0.png").read_bytes()[:80],
        "untimed.wav": whole, "noise 20261124-130000.mp3": b"ID3" + os.urandom(4000),
        "broken 20261124-130000.m4a": b"\0\0\0\x18ftypM4A " + os.urandom(3000),
    }  # fmt: skip
    for name, data in bad.items():
        (files / name).write_bytes(data)
    os.mkfifo(files / "pipe.wav")
    (files / "link.wav").symlink_to("/dev/zero")
    workspace = opened(tmp_path / "data")
    outcome = take(workspace, files)
    named = {one.path.name: one.problem for one in outcome.untaken}
    assert set(named) == {*bad, "pipe.wav", "link.wav"}
    assert all(problem.message and problem.remedy for problem in named.values())
    assert named["untimed.wav"].code == "no_time"
    assert values(workspace) == VALUES
    assert workspace.verify().summary.startswith("intact"), workspace.verify().problems
    workspace.close()


def test_the_job_is_taken_from_the_axis_or_asked_once(tmp_path: Path) -> None:
    files = fill(tmp_path / "files")
    workspace = opened(tmp_path / "data")
    workspace.create_job({**JOB, "title": "Another", "axes": [{"name": "Z", "motor_kind": "ac_servo"}]})
    assert list(take(workspace, files).proposals) == ["J1"], "only that job has the axes that were named"
    workspace.close()
    workspace = opened(tmp_path / "twins")
    workspace.create_job({**JOB, "title": "The same axes"})
    with pytest.raises(DayJobUnknown, match="--job"):
        take(workspace, files)
    assert not proposed(workspace)
    assert set(take(workspace, files, jobs=("J2",)).proposals) == {"J2"}
    workspace.close()


def test_the_job_and_the_time_of_day_are_taken_from_what_is_said(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    said = (
        (3.0, "it is ten past two"), (20.0, "job two"), (40.0, "x axis motor alone"),
        (60.0, "insulation lead to ground two gig"), (80.0, "machine lathe"), (100.0, "x axis motor alone"),
        (120.0, "insulation lead to ground three gig"),
    )  # fmt: skip
    (files / "20261124-131200.wav").write_bytes(memo(said))  # so the recorder is 58 minutes late
    workspace = opened(tmp_path / "data")
    workspace.create_job({**JOB, "title": "The same axes", "machine": "Gear grinder"})
    workspace.create_job({**JOB, "title": "Once more", "machine": "Lathe 5"})
    outcome = take(workspace, files)
    assert (outcome.clocks.how, outcome.clocks.recorder_s) == ("told", 58 * 60 - 3)
    assert {job: len(ids) for job, ids in outcome.proposals.items()} == {"J2": 1, "J3": 1}
    workspace.close()
