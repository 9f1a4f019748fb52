"""The verification beside a server at work, on media that cannot be written to, and where nothing is to be verified."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from api.assessment.recheck import verify_all
from api.cli import app
from api.ledger.evidence import store_derived
from api.ledger.store import Store
from api.ledger.verify import ExitStatus, VerifyResult, verify_folder
from api.workspace import Workspace
from tests.api.ledger.tampering import alter
from tests.api.makers import JOB, FakeEngines, at, clip, photo

ROUNDS = 200
WORDS = ["x ray axis through the cable a one to a two one point zero eight ohms", "confirm", "correction two ohms"]


def test_no_false_alarm_while_captures_go_on(workspace: Workspace) -> None:
    """Verify two hundred times beside two threads that take clips, photos and reports in."""
    jobs = [workspace.create_job(JOB)["id"] for _ in range(2)]
    stop, taken = threading.Event(), [0] * 2

    def work(index: int) -> None:
        while not stop.is_set():
            number = taken[index] = taken[index] + 1
            stop.wait(0.4)  # so that what is verified stays small
            workspace.take_clip(jobs[index], clip(WORDS[number % 3], number * 10 + index), at(number % 3000))
            if number % 5 == 0:
                workspace.take_photo(jobs[index], photo("1.080", "Ohm", "=", number), at(number % 3000))
            if number % 40 == 20:
                workspace.grade(jobs[index])
                workspace.make_report(jobs[index])

    threads = [threading.Thread(target=work, args=(index,)) for index in range(2)]
    for thread in threads:
        thread.start()
    seen: set[int] = set()
    alarms: list[list[str]] = []
    try:
        while len(seen) < 5 or len(alarms) < ROUNDS or sum(taken) <= 10:
            found = verify_folder(workspace.folder)
            coming_in = [note for note in found.notes if "is just coming in" in note]
            told = {*found.problems, *found.unread, *found.notes} - {*coming_in}
            alarms.append(sorted(told) + ["lag"] * (found.lag > 0) + ["not intact"] * (not found.intact))
            seen.add(found.entries)
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    assert [alarm for alarm in alarms if alarm] == []
    assert sum(taken) > 10, "captures went on meanwhile"
    assert verify_all(workspace.folder).intact


CAPTURE = """
import sys
import tempfile
from pathlib import Path
from api.workspace import Workspace
from tests.api.ledger.test_verify_live import WORDS
from tests.api.makers import FakeEngines, clip
workspace = Workspace.open(Path(sys.argv[1]), engines=FakeEngines())
number = int(sys.argv[2])
while True:
    number += 1
    workspace.take_clip("J1", clip(WORDS[number % 3], number))
    print(number, flush=True)
"""


def test_no_false_alarm_beside_another_process_that_is_killed(workspace: Workspace) -> None:
    """Verify while a process writes, and after it is killed: an orphan and a lag of one transaction at most."""
    workspace.create_job(JOB)
    workspace.close()
    folder = workspace.folder
    for start in range(0, 30_000, 10_000):
        child = subprocess.Popen([sys.executable, "-c", CAPTURE, str(folder), str(start)], stdout=subprocess.PIPE)
        assert child.stdout is not None
        child.stdout.readline()
        for _ in range(5):
            found = verify_folder(folder)
            assert (found.problems, found.unread, found.lag) == ([], [], 0)
        time.sleep(0.004 * (start // 10_000))
        os.kill(child.pid, signal.SIGKILL)
        child.wait()
        child.stdout.close()
        found = verify_folder(folder)
        assert (found.problems, found.unread) == ([], [])
        assert found.lag < 12
    opened = Workspace.open(folder, engines=FakeEngines())
    opened.close()
    assert verify_folder(folder).intact


def test_an_orphan_is_called_one(folder: Path) -> None:
    """Leave a whole file without a row, as a crash does, beside one whose content is not what its name says."""
    sha256 = Store(folder / "evidence").put(b"a clip that was not acknowledged")
    found = verify_folder(folder)
    assert found.intact
    [note] = found.notes
    assert "no row knows it" in note
    assert "next start" in note
    path = folder / "evidence" / sha256[:2] / sha256[2:]
    path.chmod(0o600)
    path.write_bytes(b"something else")
    assert any("was added or renamed" in problem for problem in verify_folder(folder).problems)


def test_an_orphaned_cut_out_is_called_one_of_its_photo(workspace: Workspace) -> None:
    """Stop between a cut-out and its row: it is named with its photo; one of a photo that never came is no orphan."""
    store, picture = workspace.evidence, b"\x89PNG\r\n\x1a\n" + bytes(40)
    job = workspace.create_job(JOB)["id"]
    parent = workspace.take_photo(job, photo("1.080", "Ohm"), at(1))["sha256"]
    for data in (picture, picture + bytes(2_000_000)):  # hashed at once, and in pieces
        store_derived(store, data, parent)
    found = verify_folder(workspace.folder)
    assert found.intact
    assert len(found.notes) == 2
    assert all(f"a cut-out of photo {parent[:12]}" in note and "interrupted" in note for note in found.notes)
    stray = store_derived(store, picture, "ab" * 32).sha256
    [problem] = verify_folder(workspace.folder).problems
    assert stray[2:] in problem
    assert "was added or renamed" in problem


def pipe(path: Path) -> None:
    os.mkfifo(path)


def listening(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as made, tempfile.TemporaryDirectory() as short:
        made.bind(f"{short}/s")  # an address has room for a hundred characters
        shutil.move(f"{short}/s", path)


def endless(path: Path) -> None:
    try:
        os.mknod(path, 0o600 | stat.S_IFCHR, os.makedev(1, 5))  # /dev/zero, "Linux allocated devices": 1, 5
    except PermissionError:  # only the machine's own root may, not that of a namespace
        path.symlink_to("/dev/zero")


@pytest.mark.parametrize("place", ["new", "known", "evidence", "report", "copy", "head", "database"])
@pytest.mark.parametrize("make", [pipe, listening, endless])
def test_what_is_no_file_is_never_waited_for(folder: Path, make: Callable[[Path], None], place: str) -> None:
    stored = next(path for path in (folder / "evidence").rglob("*") if path.is_file())
    report = next(path for path in (folder / "reports").rglob("*") if path.is_file())
    path = {
        "new": stored.parent / ("ab" * 31),
        "known": stored,
        "evidence": folder / "evidence" / "stray",
        "report": report,
        "copy": folder / "report-J9.html",
        "head": folder / "trail-head.json",
        "database": folder / "ohmtrail.db",
    }[place]
    path.unlink(missing_ok=True)
    make(path)
    kinds = {"pipe": "a pipe", "listening": "a socket", "endless": "a link" if path.is_symlink() else "a device"}
    answer: list[Any] = []
    looking = threading.Thread(target=lambda: answer.append(verify_folder(folder)), daemon=True)
    looking.start()
    looking.join(20)
    assert answer, "the verification waits for it"
    assert not answer[0].intact
    if place not in ("head", "database"):
        told = f"is misplaced: it is {kinds[make.__name__]}"
        assert any(told in problem for problem in answer[0].problems)


def test_a_write_under_way_is_no_left_over(folder: Path) -> None:
    living, dead = folder / "evidence" / f".tmp-{os.getpid()}-00ff", folder / "evidence" / ".tmp-4000000-00ff"
    living.write_bytes(b"half")
    assert verify_folder(folder).notes == []
    dead.write_bytes(b"half")
    assert [note for note in verify_folder(folder).notes if "interrupted write" in note]


def test_what_is_not_there_is_called_missing(folder: Path, tmp_path: Path) -> None:
    found = verify_folder(tmp_path / "none")
    assert (found.result, found.exit_status) == (VerifyResult.MISSING, ExitStatus.NOT_READ)
    assert found.problems == ["The data folder is missing."]
    assert not (tmp_path / "none").exists()
    (folder / "ohmtrail.db").unlink()
    found = verify_folder(folder)
    assert (found.result, found.problems) == (VerifyResult.MISSING, ["The database is missing."])
    assert any("Restore the folder" in note for note in found.notes)
    assert found.to_json()["result"] == "missing"
    assert not found.intact


def run(*arguments: str) -> Result:
    return CliRunner().invoke(app, arguments)


def test_exit_statuses_of_the_command(folder: Path, tmp_path: Path) -> None:
    good = run("verify", "--data", str(folder))
    assert (good.exit_code, "intact" in good.stdout) == (ExitStatus.INTACT, True)
    assert run("verify", "--data", str(folder / "ohmtrail.db")).exit_code == ExitStatus.MISUSE
    missing = run("verify", "--data", str(tmp_path / "none"))
    assert (missing.exit_code, "The data folder is missing." in missing.stdout) == (ExitStatus.NOT_READ, True)
    alter(folder, ("UPDATE record SET value = '9' WHERE rowid = 1", ()))
    changed = run("verify", "--data", str(folder))
    assert (changed.exit_code, "changed" in changed.stdout) == (ExitStatus.CHANGED, True)
    told = " ".join(run("verify", "--help").stdout.split())
    for words in ("0 intact", "1 changed", "2 misuse", "3 no folder or database"):
        assert words in told.replace("│ ", "").replace(" │", "")


UNPRIVILEGED = """
import ctypes, json, os, sys
from pathlib import Path
from api.assessment.recheck import verify_all
assert verify_all(Path(sys.argv[1]).with_name("warm")).entries  # all modules are read before they are out of reach
if os.getuid() == 0:
    # Root without its capabilities is held to the modes as any owner is; another user there may not even be, since the
    # suite can run in a namespace that knows one user only. The numbers: linux/capability.h, version 3, this process.
    header, nothing = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    assert ctypes.CDLL(None).capset(header, nothing) == 0
found = verify_all(Path(sys.argv[1]))
print(json.dumps(found.to_json()))
"""


def as_nobody(folder: Path) -> dict[str, Any]:
    """Verify in a process of a user who may only read."""
    done = subprocess.run(
        [sys.executable, "-c", UNPRIVILEGED, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


@pytest.fixture
def public(sealed: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Copy the visit to where every user can read it and none may write."""
    import tempfile

    top = Path(tempfile.mkdtemp(prefix="ohmtrail-public-"))
    folder = Path(shutil.copytree(sealed, top / "data"))
    shutil.copytree(sealed, top / "warm")
    yield folder
    set_modes(top, 0o700, 0o600)
    shutil.rmtree(top)


def set_modes(folder: Path, of_folders: int, of_files: int) -> None:
    for path in (folder, *folder.rglob("*")):
        path.chmod(of_folders if path.is_dir() else of_files)


def test_without_write_access_to_folder_or_database(public: Path) -> None:
    set_modes(public.parent, 0o555, 0o444)
    before = sorted(str(path) for path in public.rglob("*"))
    assert as_nobody(public)["result"] == "intact"
    assert sorted(str(path) for path in public.rglob("*")) == before


def test_without_write_access_while_a_log_lies_there(public: Path) -> None:
    """Leave what was written last in the log alone, as a server that was killed does: it is read from a copy."""
    code = CAPTURE.replace("while True:", "while number < 3:") + "import os; os._exit(9)\n"
    subprocess.run([sys.executable, "-c", code, str(public), "0"], capture_output=True, check=False)
    assert (public / "ohmtrail.db-wal").stat().st_size > 0
    entries = verify_folder(public).entries
    (public / "ohmtrail.db-shm").unlink()
    set_modes(public.parent, 0o555, 0o444)
    found = as_nobody(public)
    assert (found["result"], found["entries"]) == ("intact", entries)


def test_what_cannot_be_read_is_said_to_be_so(public: Path) -> None:
    set_modes(public.parent, 0o555, 0o444)
    stored = next(path for path in (public / "evidence").rglob("*") if path.is_file())
    stored.chmod(0o000)
    if os.getuid() != 0:
        assert verify_folder(public).result is VerifyResult.UNREADABLE
    found = as_nobody(public)
    assert found["result"] == "unreadable"
    assert stored.name in str(found["unread"])
    (public / "ohmtrail.db").chmod(0o000)
    found = as_nobody(public)
    assert (found["result"], found["problems"]) == ("unreadable", [])


READ_ONLY = """
import json, sqlite3, sys
from pathlib import Path
from api.assessment.recheck import verify_all
folder = Path(sys.argv[1])
try:
    sqlite3.connect(folder / "ohmtrail.db").execute("CREATE TABLE x (a)")
except sqlite3.OperationalError:
    print(json.dumps(verify_all(folder).to_json()))
"""


def test_on_a_medium_that_cannot_be_written_to(sealed: Path, tmp_path: Path) -> None:
    """Mount a disk in a namespace of its own, which needs no rights beyond those that the suite itself runs with."""
    disk = tmp_path / "disk"
    disk.mkdir()
    steps = (
        'mount -t tmpfs tmpfs "$1" && cp -r "$2" "$1/data" && mount -o remount,ro "$1" && exec "$3" -c "$4" "$1/data"'
    )
    namespace = ["unshare", *(["--map-root-user"] if os.getuid() else []), "--mount"]
    arguments = [str(disk), str(sealed), sys.executable, READ_ONLY]
    done = subprocess.run(
        [*namespace, "sh", "-c", steps, "sh", *arguments], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert (found["result"], found["notes"]) == ("intact", [])
