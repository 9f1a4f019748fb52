"""The head file: written in place, whole after a torn write, lagging and never lying where the disk takes no more."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.dialogue.actions import Confirm
from api.errors import WriteFailed
from api.ledger.canonical import canonical
from api.ledger.errors import EntryHasNoSpace, FileHasNoSpace, FileNotWritten
from api.ledger.opening import entry_not_written
from api.ledger.trail import SLOT, Head, What, read_head, read_head_file, write_head
from api.ledger.verify import verify_folder
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.ledger.tampering import append, entries
from tests.api.makers import JOB, FakeEngines, at, clip

READING: ReadingFields = {
    "kind": "winding_resistance",
    "value": "1.08",
    "unit": "Ohm",
    "axis": "X",
    "section": "motor_alone",
}


def test_slots_are_written_in_turn_and_in_place(tmp_path: Path) -> None:
    path = tmp_path / "head.json"
    write_head(path, Head(1, 1, "a"))
    inode, seen = path.stat().st_ino, []
    for seq in range(2, 6):
        before = path.read_bytes()
        write_head(path, Head(seq, seq, "b"))
        after = path.read_bytes()
        slot = read_head_file(path).slot
        assert before[(1 - slot) * SLOT : (2 - slot) * SLOT] == after[(1 - slot) * SLOT : (2 - slot) * SLOT]
        assert read_head(path) == Head(seq, seq, "b")
        seen.append(slot)
    assert seen == [1, 0, 1, 0]
    assert (path.stat().st_ino, path.stat().st_size) == (inode, 2 * SLOT)


@pytest.mark.parametrize("cut", [0, 1, 100, 180, 511, 512, SLOT - 1])
def test_a_torn_write_leaves_the_head_before(tmp_path: Path, cut: int) -> None:
    """Cut the writing of a slot anywhere: the other slot holds the head before, and the next writing heals the file."""
    path = tmp_path / "head.json"
    write_head(path, Head(7, 3, "a"))
    write_head(path, Head(8, 4, "b"))
    before = path.read_bytes()
    write_head(path, Head(9, 5, "c"))
    after, slot = path.read_bytes(), read_head_file(path).slot
    begin = slot * SLOT
    path.write_bytes(before[:begin] + after[begin : begin + cut] + before[begin + cut :])
    assert read_head(path) == (Head(9, 5, "c") if path.read_bytes() == after else Head(8, 4, "b"))
    write_head(path, Head(9, 5, "c"))
    assert (read_head(path), read_head_file(path).damaged) == (Head(9, 5, "c"), False)


def test_a_lower_number_written_later_counts(tmp_path: Path) -> None:
    """Count writings, not entries: after a tail was cut off and noted, the file names the trail's end again."""
    path = tmp_path / "head.json"
    for seq in (5, 6, 4):
        write_head(path, Head(seq, seq, "a"))
    assert read_head(path) == Head(4, 4, "a")


@pytest.fixture
def stuck(workspace: Workspace, monkeypatch: pytest.MonkeyPatch) -> Workspace:
    """Open a workspace whose head file takes nothing any more."""
    job = workspace.create_job(JOB)["id"]
    for number in range(3):
        workspace.type_reading(job, {**READING, "terminals": f"U-{'VWX'[number]}"}, at(number))

    def refuse(*_: object) -> int:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "pwrite", refuse)
    return workspace


def test_what_is_committed_is_answered_as_committed(stuck: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three confirmations with a head file that cannot be written: three records, three answers, a counted lag."""
    before = verify_folder(stuck.folder).entries
    for number in range(1, 4):
        answer = stuck.act(f"J1-P{number}", Confirm(1), captured_at=at(60 + number))
        assert [record["value"] for record in answer["records"]] == ["1.08"]
    assert stuck.database.head_lags
    found = stuck.verify()
    assert found.problems == []
    assert found.lag == found.entries - before > 0
    assert [entry["what"] for entry in entries(stuck.folder)].count(What.HEAD_CAUGHT_UP.value) == 1, "noted once"
    monkeypatch.undo()
    stuck.take_clip("J1", clip("x ray axis"), at(90))
    found = stuck.verify()
    assert (found.problems, found.lag, stuck.database.head_lags) == ([], 0, False)
    assert any("until then the head file lagged by" in note and "beyond proof" in note for note in found.notes)


def test_folders_that_an_older_version_marked_for_ever_are_cleared(folder: Path) -> None:
    """Read a mismatch that was only lag as such: its note shows a head that lies on the chain."""
    trail = entries(folder)
    seq, last = trail[-4]["seq"], trail[-1]
    note = {"found_seq": seq, "found_hash": trail[-4]["hash"], "trail_seq": last["seq"], "trail_hash": last["hash"]}
    append(folder, What.HEAD_MISMATCH, note=note)
    found = verify_folder(folder)
    assert found.problems == []
    assert any("lagged by 3 entries" in text for text in found.notes)


@pytest.mark.parametrize(
    "changed", [{"found_hash": "0" * 64}, {"found_seq": 0}, {"trail_hash": "1"}, {"found_seq": 9999}]
)
def test_a_mismatch_that_was_none_of_lag_stays_one(folder: Path, changed: dict[str, Any]) -> None:
    trail = entries(folder)
    note = {"found_seq": trail[-4]["seq"], "found_hash": trail[-4]["hash"],
            "trail_seq": trail[-1]["seq"], "trail_hash": trail[-1]["hash"]}  # fmt: skip
    append(folder, What.HEAD_MISMATCH, note={**note, **changed})
    assert any("did not match the trail" in problem for problem in verify_folder(folder).problems)


def test_a_head_file_of_the_first_form_is_converted_with_what_it_says(sealed: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(sealed, tmp_path / "copy"))
    head = read_head(folder / "trail-head.json")
    assert head is not None
    (folder / "trail-head.json").write_text(canonical({"seq": head.seq, "txn": head.txn, "hash": head.hash}))
    Workspace.open(folder, engines=FakeEngines()).close()
    assert (folder / "trail-head.json").stat().st_size == 2 * SLOT
    assert read_head(folder / "trail-head.json") == head
    assert verify_folder(folder).notes == []


SMALL_DISK = """
import json, os, sys
from pathlib import Path
from api.dialogue.actions import Confirm
from api.errors import WriteFailed
from api.ledger.verify import verify_folder
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.ledger.test_head_file import READING
from tests.api.makers import JOB, FakeEngines, at

disk, room = Path(sys.argv[1]), int(sys.argv[2])
workspace = Workspace.open(disk / "data", engines=FakeEngines())
workspace.create_job(JOB)
for number in range(6):
    workspace.type_reading("J1", {**READING, "terminals": f"U-{number}"}, at(number))
with open(disk / "fill", "wb", buffering=0) as fill:
    try:
        while True:
            fill.write(bytes(4096))
    except OSError:
        pass
    fill.truncate(max(0, fill.tell() - room))
told = []
for number in range(1, 7):
    try:
        workspace.act(f"J1-P{number}", Confirm(1), captured_at=at(60 + number))
        told.append(number)
    except WriteFailed as error:
        assert "Free some space" in str(error), str(error)
full = verify_folder(disk / "data")
(disk / "fill").unlink()
with workspace.database.read() as session:
    from sqlmodel import select
    from api.ledger.tables import RecordRow
    kept = [int(proposal[4:]) for proposal in session.exec(select(RecordRow.proposal_id)).all()]
rest = [number for number in range(1, 7) if number not in told]
for number in rest:
    workspace.act(f"J1-P{number}", Confirm(1), captured_at=at(80 + number))
workspace.close()
after = verify_folder(disk / "data")
print(json.dumps({"told": told, "kept": sorted(kept), "full": full.problems + full.unread, "after": after.problems,
                  "lag": after.lag}))
"""


@pytest.fixture(scope="module")
def small_disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Mount a file system of 4 MiB in memory."""
    disk = tmp_path_factory.mktemp("disk")
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if made.returncode != 0:
        pytest.skip("mounting a file system is not allowed here")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.parametrize("room", [0, 4096, 12_288, 32_768, 65_536, 131_072])
def test_a_full_disk(small_disk: Path, room: int) -> None:
    """Confirm at a disk that is really full, with a little room left: what was answered is kept, no more, no alarm."""
    for path in small_disk.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    done = subprocess.run(
        [sys.executable, "-c", SMALL_DISK, str(small_disk), str(room)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["kept"] == told["told"]
    assert (told["full"], told["after"], told["lag"]) == ([], [], 0)
    if room == 0:
        assert told["told"] == []


def test_only_where_there_is_no_space_does_it_say_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sqlite3

    def refuse(number: int) -> None:
        def fail(_handle: int) -> None:
            raise OSError(number, os.strerror(number))

        monkeypatch.setattr(os, "fsync", fail)

    workspace = Workspace.open(tmp_path / "data", engines=FakeEngines())
    job = workspace.create_job(JOB)["id"]
    for number, kind, says in ((28, FileHasNoSpace, True), (122, FileHasNoSpace, True), (5, FileNotWritten, False)):
        refuse(number)
        with pytest.raises(WriteFailed) as caught:
            workspace.take_clip(job, clip(f"{number}"))
        assert type(caught.value) is kind
        assert ("Free some space" in str(caught.value)) is says
    monkeypatch.undo()
    workspace.close()
    full, broken = sqlite3.OperationalError("database or disk is full"), sqlite3.OperationalError("disk I/O error")
    full.sqlite_errorcode, broken.sqlite_errorcode = sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE
    assert isinstance(entry_not_written(tmp_path, full), EntryHasNoSpace)
    error = entry_not_written(tmp_path, broken)
    assert not isinstance(error, EntryHasNoSpace)
    assert "Free some space" not in str(error)
