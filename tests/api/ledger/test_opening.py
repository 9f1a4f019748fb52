"""Opening a folder: never empty beside evidence, private to its user, with clocks and capture times remarked."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import sqlite3
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from api.dialogue.actions import Confirm
from api.errors import Refused
from api.ledger.clock import capture_remark, parse_instant, system_clock
from api.ledger.errors import DatabaseEmpty, DatabaseForeign, DatabaseMissing
from api.ledger.trail import What
from api.ledger.verify import verify_folder
from api.visit.readings import ReadingFields
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.ledger.tampering import rows
from tests.api.makers import JOB, FakeEngines, at


def open_(folder: Path) -> Workspace:
    return Workspace.open(folder, engines=FakeEngines())


def state(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def foreign(path: Path) -> None:
    path.unlink(missing_ok=True)
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE songs (title)")
    connection.close()


def vacant(path: Path) -> None:
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 3")
    connection.close()


DATABASES: dict[str, tuple[Callable[[Path], object], type[Refused], str]] = {
    "missing": (lambda path: path.unlink(), DatabaseMissing, "is missing"),
    "empty": (lambda path: path.write_bytes(b""), DatabaseEmpty, "is empty"),
    "without a table": (vacant, DatabaseEmpty, "is empty"),
    "no database": (lambda path: path.write_bytes(b"no database" * 500), DatabaseForeign, "no SQLite database"),
    "of another program": (foreign, DatabaseForeign, "another program"),
}


@pytest.mark.parametrize("beside", ["evidence and head", "evidence", "head"])
@pytest.mark.parametrize("kind", DATABASES)
def test_earlier_work_is_never_begun_anew(folder: Path, kind: str, beside: str) -> None:
    spoil, error, words = DATABASES[kind]
    if beside == "evidence":
        (folder / "trail-head.json").unlink()
    if beside == "head":
        shutil.rmtree(folder / "evidence")
    spoil(folder / "ohmtrail.db")
    before = state(folder)
    with pytest.raises(Refused, match=words) as caught:
        open_(folder)
    assert type(caught.value) is error
    assert "ohmtrail restore" in str(caught.value)
    assert state(folder) == before, "nothing was written"


def test_a_foreign_database_is_refused_without_evidence_too(tmp_path: Path) -> None:
    foreign(tmp_path / "ohmtrail.db")
    before = state(tmp_path)
    with pytest.raises(DatabaseForeign):
        open_(tmp_path)
    assert state(tmp_path) == before


@pytest.mark.parametrize("content", [None, b""])
def test_a_first_start_that_was_interrupted_is_no_earlier_work(tmp_path: Path, content: bytes | None) -> None:
    if content is not None:
        (tmp_path / "ohmtrail.db").write_bytes(content)
    (tmp_path / "evidence" / "ab").mkdir(parents=True)
    workspace = open_(tmp_path)
    workspace.create_job(JOB)
    workspace.close()
    assert verify_folder(tmp_path).intact


def modes(folder: Path) -> dict[str, set[int]]:
    found: dict[str, set[int]] = {"folder": {stat.S_IMODE(folder.stat().st_mode)}, "file": set(), "stored": set()}
    for path in folder.rglob("*"):
        kind = "folder" if path.is_dir() else "stored" if path.parent.parent.parent == folder else "file"
        found[kind].add(stat.S_IMODE(path.stat().st_mode))
    return found


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077, 0o277])
def test_files_are_private_whatever_the_umask(tmp_path: Path, umask: int) -> None:
    old = os.umask(umask)
    try:
        visit = Visit(open_(tmp_path / "data"))
        visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
        visit.workspace.make_report(visit.job)
    finally:
        os.umask(old)
    found = modes(tmp_path / "data")
    assert (found["folder"], found["stored"]) == ({0o700}, {0o400})
    assert found["file"] == {0o600}, "database, log, lock and head"
    visit.workspace.close()


def test_an_existing_folder_is_tightened(folder: Path) -> None:
    (folder / "report-J1.html").write_bytes(b"x")
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    open_(folder).close()
    found = modes(folder)
    assert (found["folder"], found["stored"], found["file"]) == ({0o700}, {0o400}, {0o600})


def test_a_folder_that_many_users_share_is_left_as_it_is(tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o1777)
    open_(shared).close()
    assert stat.S_IMODE(shared.stat().st_mode) == 0o1777
    assert stat.S_IMODE((shared / "ohmtrail.db").stat().st_mode) == 0o600


READING: ReadingFields = {
    "kind": "winding_resistance", "value": "1.08", "unit": "Ohm", "axis": "X", "section": "motor_alone",
}  # fmt: skip
ARRIVED = "2026-11-24T08:30:00.000000Z"


@pytest.mark.parametrize(
    ("captured", "words"),
    [
        ("1999-12-31T23:59:59+00:00", "before the year 2000"),
        ("1970-01-01T00:00:00Z", "before the year 2000"),
        ("2026-11-25T08:30:01+00:00", "more than a day after"),
        ("2099-01-01T00:00:00+14:00", "more than a day after"),
        ("2025-11-24T08:29:59+00:00", "more than a year before"),
        ("2026-11-25T08:30:00+00:00", ""),
        ("2026-11-24T22:00:00+14:00", ""),
        ("2025-11-24T08:30:00+00:00", ""),
        ("0001-01-01T00:00:00+00:00", "before the year 2000"),
        ("no time", "cannot be read"),
    ],
)
def test_capture_times_that_can_hardly_be_right(captured: str, words: str) -> None:
    remark = capture_remark(captured, ARRIVED)
    assert words in remark if words else remark == ""


def test_an_absurd_capture_time_is_on_the_record_and_in_the_trail(workspace: Workspace) -> None:
    job = workspace.create_job(JOB)["id"]
    early = "1980-01-06T00:00:00+00:00"
    reading: ReadingFields = {
        "kind": "winding_resistance",
        "value": "1.08",
        "unit": "Ohm",
        "axis": "X",
        "section": "motor_alone",
    }
    workspace.type_reading(job, {**reading, "terminals": "A1-A2"}, early)

    answer = workspace.act("J1-P1", Confirm(1), captured_at=at(10))
    assert "before the year 2000" in answer["records"][0]["note"]
    assert any('"times":{"J1-P1":' in entry["body"] for entry in rows(workspace.folder, "trail_entry"))
    assert workspace.verify().intact


@pytest.mark.parametrize(("apart_s", "remarked"), [(0, False), (366 * 24 * 3600, True), (-2 * 24 * 3600, True)])
def test_a_device_that_states_its_clock_is_judged_by_it(tmp_path: Path, apart_s: int, remarked: bool) -> None:
    """Replay a visit two years after its day: no absurd time, unless it is one by the device's own clock as well."""
    workspace = Workspace.open(
        tmp_path / "data", engines=FakeEngines(), clock=lambda: parse_instant("2028-11-24T10:00:00Z")
    )
    visit = Visit(workspace)
    stated = parse_instant(at(40)) + dt.timedelta(seconds=apart_s)
    with workspace.database.device_time(stated):
        visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
        visit.say("confirm")
    [record] = visit.records()
    assert ("can hardly" in record["note"] or "a clock was wrong" in record["note"]) == remarked
    bodies = [entry["body"] for entry in rows(workspace.folder, "trail_entry")]
    assert any('"times":' in body for body in bodies) == remarked
    ahead = round((stated - parse_instant("2028-11-24T10:00:00Z")).total_seconds())
    stated_in = [body for body in bodies if f'"device_ahead_s":{ahead}' in body]
    assert len(stated_in) >= 3, "every entry with a capture time says by which clock it was judged"
    visit.say("x ray axis through the cable a one to a two two ohms")
    last = [entry["body"] for entry in rows(workspace.folder, "trail_entry")]
    assert any("more than a year before" in body and "device_ahead_s" not in body for body in last)
    assert workspace.verify().intact


def test_a_clock_that_is_set_back_is_noted_once_and_on_the_record(tmp_path: Path) -> None:
    times = iter(["2026-11-24T10:00:00Z"] * 7 + ["2026-11-24T09:00:00Z"] * 40)
    workspace = Workspace.open(tmp_path, engines=FakeEngines(), clock=lambda: parse_instant(next(times)))
    visit = Visit(workspace)
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    visit.say("confirm")
    assert visit.whats().count(What.CLOCK_SET_BACK.value) == 1
    assert "clock was set back" in visit.records()[0]["note"]
    found = workspace.verify()
    assert found.intact
    assert any("set back from 2026-11-24T10:00:00.000000Z" in note for note in found.notes)
    workspace.close()


def test_a_clock_kept_by_the_network_is_not_remarked(tmp_path: Path) -> None:
    times = iter([f"2026-11-24T10:00:00.{900000 - 1000 * number:06d}Z" for number in range(40)])
    workspace = Workspace.open(tmp_path, engines=FakeEngines(), clock=lambda: parse_instant(next(times)))
    visit = Visit(workspace)
    visit.say("x ray axis")
    assert What.CLOCK_SET_BACK.value not in visit.whats()
    workspace.close()
    assert system_clock().tzinfo is not None
