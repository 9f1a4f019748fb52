"""Backup while captures go on, and restore: what was acknowledged before the backup is in it, and it verifies."""

from __future__ import annotations

import stat
import subprocess
import threading
import time
import zipfile
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from api.assessment.recheck import verify_all
from api.cli import app
from api.errors import BadInput, Refused
from api.ledger.backup import LOCKED_KEY, MANIFEST, back_up
from api.ledger.errors import (
    BackupExists,
    BackupInside,
    BackupUnusable,
    KeyNotEnclosed,
    KeyNotOpened,
    RestoreNotEmpty,
)
from api.ledger.restore import restore
from api.ledger.signing import KEY_FILE
from api.ledger.trail import SLOT, What
from api.ledger.verify import verify_folder
from api.workspace import Workspace
from tests.api.ledger.tampering import alter, append, rows
from tests.api.makers import JOB, FakeEngines, at, clip


def test_a_restored_folder_verifies_and_is_the_same(folder: Path, tmp_path: Path) -> None:
    before = verify_all(folder)
    told: list[tuple[int, int]] = []
    made = back_up(folder, tmp_path / "b.zip", lambda done, of: told.append((done, of)))
    assert (made.entries, made.files, made.faults) == (before.entries, before.files, [])
    assert told[-1][0] == told[-1][1] > 0
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    restore(made.path, tmp_path / "again", lambda done, of: told.append((done, of)))
    assert told[-1][0] == told[-1][1]
    after = verify_all(tmp_path / "again")
    assert after.to_json() == before.to_json()
    for table in ("record", "evidence", "trail_entry", "report_file"):
        assert rows(tmp_path / "again", table) == rows(folder, table)
    assert {stat.S_IMODE(path.stat().st_mode) for path in (tmp_path / "again").rglob("*") if path.is_dir()} == {0o700}
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".tmp-")]
    workspace = Workspace.open(tmp_path / "again", engines=FakeEngines())
    workspace.take_clip("J1", clip("x ray axis", 999))
    assert workspace.verify().intact
    workspace.close()


def test_the_key_comes_back_with_its_passphrase_and_only_so(folder: Path, tmp_path: Path) -> None:
    passphrase = "a long sentence of the shop"
    key = (folder / KEY_FILE).read_bytes()
    made = back_up(folder, tmp_path / "b.zip", passphrase=passphrase)
    with zipfile.ZipFile(made.path) as archive:
        locked = archive.read(LOCKED_KEY)
    assert b"BEGIN ENCRYPTED PRIVATE KEY" in locked  # RFC 7468, 11
    assert all(line not in made.path.read_bytes() for line in key.splitlines() if not line.startswith(b"-"))
    (tmp_path / "key.pem").write_bytes(locked)
    opened = subprocess.run(
        ["openssl", "pkey", "-in", tmp_path / "key.pem", "-passin", f"pass:{passphrase}"],
        capture_output=True,
        check=True,
    )
    assert opened.stdout == key, "another program opens it with the passphrase"
    with pytest.raises(KeyNotOpened):
        restore(made.path, tmp_path / "again", passphrase="another sentence of the shop")
    assert not (tmp_path / "again").exists()
    with pytest.raises(KeyNotEnclosed, match="15 characters"):
        back_up(folder, tmp_path / "short.zip", passphrase="short")
    (tmp_path / "words").write_text(f"{passphrase}\n")
    command = ["restore", str(made.path), str(tmp_path / "again"), "--passphrase-file", str(tmp_path / "words")]
    assert CliRunner().invoke(app, command).exit_code == 0
    for name, lost in (("again", False), ("without", True)):
        if lost:
            restore(made.path, tmp_path / name)
        assert stat.S_IMODE((tmp_path / "again" / KEY_FILE).stat().st_mode) == 0o600
        workspace = Workspace.open(tmp_path / name, engines=FakeEngines())
        workspace.take_clip("J1", clip("x ray axis", 999))
        workspace.close()
        found = verify_folder(tmp_path / name)
        assert found.intact
        assert any("was lost" in note for note in found.notes) is lost


def test_backups_while_captures_go_on(workspace: Workspace, tmp_path: Path) -> None:
    workspace.create_job(JOB)
    stop, acknowledged = threading.Event(), []

    def work() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            acknowledged.append(workspace.take_clip("J1", clip("x ray axis", number), at(number % 3000))["sha256"])

    thread = threading.Thread(target=work)
    thread.start()
    try:
        for number in range(12):
            while len(acknowledged) <= number:
                time.sleep(0.01)
            kept = list(acknowledged)
            made = back_up(workspace.folder, tmp_path / f"{number}.zip")
            assert made.faults == []
            restore(made.path, tmp_path / f"r{number}")
            found = verify_all(tmp_path / f"r{number}")
            assert (found.result, found.notes) == ("intact", [])
            assert set(kept) <= {row["sha256"] for row in rows(tmp_path / f"r{number}", "evidence")}
    finally:
        stop.set()
        thread.join()
    assert len(acknowledged) >= 12


def test_a_backup_tells_what_was_changed_and_the_copy_does_too(folder: Path, tmp_path: Path) -> None:
    stored = sorted(path for path in (folder / "evidence").rglob("*") if path.is_file())
    stored[0].chmod(0o600)
    stored[0].write_bytes(b"something else")
    stored[1].unlink()
    made = back_up(folder, tmp_path / "b.zip")
    assert len(made.faults) == 2
    restore(made.path, tmp_path / "again")
    assert sorted(verify_folder(tmp_path / "again").problems) == sorted(verify_folder(folder).problems)


def test_a_backup_hides_no_cut_off_tail_and_no_lag(folder: Path, tmp_path: Path) -> None:
    append(folder, What.ASKED, head=False)
    restore(back_up(folder, tmp_path / "lag.zip").path, tmp_path / "lag")
    assert verify_folder(tmp_path / "lag").lag == verify_folder(folder).lag == 1
    last = rows(folder, "trail_entry")[-1]["seq"]
    alter(folder, ("DELETE FROM trail_entry WHERE seq > ?", (last - 2,)))
    restore(back_up(folder, tmp_path / "cut.zip").path, tmp_path / "cut")
    assert any("tail was cut off" in problem for problem in verify_folder(tmp_path / "cut").problems)


def test_places_that_are_refused(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(b"mine")
    with pytest.raises(BackupExists):
        back_up(folder, tmp_path / "b.zip")
    assert (tmp_path / "b.zip").read_bytes() == b"mine"
    with pytest.raises(BackupInside):
        back_up(folder, folder / "b.zip")
    named = back_up(folder, tmp_path).path
    assert named.parent == tmp_path
    assert named.suffix == ".zip"
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").write_bytes(b"x")
    for place in (tmp_path / "full", tmp_path / "b.zip"):
        with pytest.raises(Refused) as caught:
            restore(named, place)
        assert isinstance(caught.value, RestoreNotEmpty)
    (tmp_path / "empty").mkdir()
    restore(named, tmp_path / "empty")
    assert verify_folder(tmp_path / "empty").intact


@pytest.mark.parametrize("kind", ["cut", "byte", "no manifest", "outside", "extra", "missing", "text", "none"])
def test_what_is_no_whole_backup_leaves_nothing(folder: Path, tmp_path: Path, kind: str) -> None:
    path = back_up(folder, tmp_path / "b.zip").path
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as opened:
        members = [(info, opened.read(info)) for info in opened.infolist()]
    if kind == "cut":
        path.write_bytes(data[: len(data) // 2])
    elif kind == "byte":
        data[len(data) // 3] ^= 0x20
        path.write_bytes(bytes(data))
    elif kind == "text":
        path.write_bytes(b"no archive")
    elif kind == "none":
        path.unlink()
    else:
        with zipfile.ZipFile(path, "w") as made:
            for info, content in members:
                dropped = kind == "no manifest" and info.filename == MANIFEST
                if not dropped and not (kind == "missing" and info.filename.startswith("evidence/")):
                    made.writestr(info, content)
            if kind in ("outside", "extra"):
                made.writestr("../outside" if kind == "outside" else "evidence/ab/note.txt", b"x")
    with pytest.raises(BadInput) as caught:
        restore(path, tmp_path / "again")
    assert isinstance(caught.value, BackupUnusable)
    assert not (tmp_path / "again").exists()
    assert not (tmp_path / "outside").exists()
    assert not [left for left in tmp_path.iterdir() if left.name.startswith(".tmp-")]


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, arguments)


def test_the_commands(folder: Path, tmp_path: Path) -> None:
    made = run("backup", str(tmp_path / "b.zip"), "--data", str(folder))
    assert (made.exit_code, "entries" in made.stdout) == (0, True), made.output
    again = run("restore", str(tmp_path / "b.zip"), str(tmp_path / "again"))
    assert (again.exit_code, "intact" in again.stdout) == (0, True), again.output
    assert run("restore", str(tmp_path / "b.zip"), str(tmp_path / "again")).exit_code == 1
    assert run("backup", str(tmp_path / "c.zip"), "--data", str(tmp_path / "none")).exit_code == 3
    assert run("restore", str(tmp_path / "none.zip"), str(tmp_path / "x")).exit_code == 2
    stored = next(path for path in (folder / "evidence").rglob("*") if path.is_file())
    stored.unlink()
    assert run("backup", str(tmp_path / "d.zip"), "--data", str(folder)).exit_code == 1
    assert run("restore", str(tmp_path / "d.zip"), str(tmp_path / "changed")).exit_code == 1


def test_a_backup_where_the_folder_may_not_be_written(folder: Path, tmp_path: Path) -> None:
    for path in (*folder.rglob("*"), folder):
        path.chmod(0o500 if path.is_dir() else 0o400)
    try:
        made = back_up(folder, tmp_path / "b.zip")
    finally:
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o700 if path.is_dir() else 0o600)
    with zipfile.ZipFile(made.path) as opened:
        assert len(opened.read("trail-head.json")) == 2 * SLOT
