"""The layer fails what it is asked to, a loss of power keeps what was synced, a program that does not sync is found."""

from __future__ import annotations

import errno
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.layer import Kind, NoCompiler, compile_layer, environment
from tests.faults.powercut import Disk, Event, calls_of, cut_at, marks_of, read_log
from tests.faults.runner import ROOT, broken, workers
from tests.faults.worker import POWER, Point

PROGRAM = """
import os, sys
from pathlib import Path
from tests.faults.layer import Kind, Layer
root, kind, at, log = Path(sys.argv[1]), Kind(int(sys.argv[2])), int(sys.argv[3]), open(sys.argv[4], "wb")
layer = Layer()
layer.arm(root, kind, at, log.fileno(), 1)
def step(name, work):
    try:
        found = work()
        print(name, "" if found is None else found, flush=True)
        layer.mark(name)
    except OSError as error:
        print(name, f"errno {error.errno}", flush=True)
step("mkdir", lambda: os.mkdir(root / "sub"))
handle = os.open(root / "sub" / "new", os.O_CREAT | os.O_WRONLY, 0o644)
step("write", lambda: os.write(handle, b"x" * 1000))
step("pwrite", lambda: os.pwrite(handle, b"y" * 10, 5))
step("fsync", lambda: os.fsync(handle))
step("rename", lambda: os.rename(root / "sub" / "new", root / "sub" / "file"))
folder = os.open(root / "sub", os.O_RDONLY)
step("sync folder", lambda: os.fsync(folder))
step("truncate", lambda: os.ftruncate(handle, 100))
step("chmod", lambda: os.fchmod(handle, 0o444))
step("unlink", lambda: os.unlink(root / "sub" / "file"))
layer.lift()
step("after", lambda: os.write(handle, b"z" * 4))
layer.sleep()
print("calls", layer.count())
"""
CALLS = ["mkdir", "create", "write", "write", "sync", "rename", "sync", "resize", "chmod", "unlink", "write"]


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Compile the layer."""
    return compile_layer(tmp_path_factory.mktemp("layer"))


def run(library: Path, folder: Path, kind: Kind = Kind.NONE, at: int = 0) -> tuple[int, dict[str, str]]:
    """Run the little program above; returns its exit status, and what each of its steps printed."""
    (folder / "root").mkdir(exist_ok=True)
    command = [sys.executable, "-c", PROGRAM, str(folder / "root"), str(int(kind)), str(at), str(folder / "log")]
    done = subprocess.run(command, cwd=ROOT, env=environment(library), capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr, done.stderr
    lines = [line.rpartition(" ") for line in done.stdout.splitlines() if "\t" not in line]
    return done.returncode, {name: value for name, _, value in lines}


def test_each_call_is_counted_and_logged_in_order(library: Path, tmp_path: Path) -> None:
    status, said = run(library, tmp_path)
    assert (status, said["calls"]) == (0, str(len(CALLS)))
    events = read_log((tmp_path / "log").read_bytes(), tmp_path / "root")
    assert [call.op for call in calls_of(events)] == CALLS
    assert {call.path for call in calls_of(events)[:6]} == {"/sub", "/sub/new"}
    assert marks_of(events)[:3] == ["mkdir", "write", "pwrite"]
    assert [event.data for event in events if event.op == "write"][1] == b"y" * 10


@pytest.mark.parametrize(("kind", "size"), [(Kind.KILL_BEFORE, 0), (Kind.KILL_AFTER, 1000), (Kind.KILL_TORN, 500)])
def test_a_kill_comes_before_after_or_amid(library: Path, tmp_path: Path, kind: Kind, size: int) -> None:
    status, said = run(library, tmp_path, kind, 3)
    assert status == -signal.SIGKILL
    assert "write" not in said
    assert (tmp_path / "root" / "sub" / "new").stat().st_size == size


def test_an_error_comes_once_and_a_full_disk_until_it_is_lifted(library: Path, tmp_path: Path) -> None:
    for kind, number in ((Kind.ENOSPC_ONCE, errno.ENOSPC), (Kind.EIO_ONCE, errno.EIO)):
        folder = tmp_path / kind.name
        folder.mkdir()
        _, said = run(library, folder, kind, 5)
        assert (said["fsync errno"], said["pwrite"], said["after"]) == (str(number), "10", "4")
    (tmp_path / "full").mkdir()
    _, said = run(library, tmp_path / "full", Kind.DISK_FULL, 3)
    refused = {name for name in said if name.endswith("errno")}
    assert refused == {"write errno", "pwrite errno", "truncate errno"}
    assert said["after"] == "4"
    (tmp_path / "eio").mkdir()
    _, said = run(library, tmp_path / "eio", Kind.DISK_EIO, 6)
    assert {"rename errno", "sync folder errno", "chmod errno", "unlink errno"} <= said.keys()
    assert said["after"] == "4"


def test_a_short_write_says_so_and_the_next_may_find_no_space(library: Path, tmp_path: Path) -> None:
    _, said = run(library, tmp_path, Kind.SHORT, 3)
    assert (said["write"], said["pwrite"]) == ("500", "10")
    (tmp_path / "more").mkdir()
    _, said = run(library, tmp_path / "more", Kind.SHORT_ENOSPC, 3)
    assert (said["write"], said["pwrite errno"], said["after"]) == ("500", str(errno.ENOSPC), "4")


def test_without_a_compiler_it_is_said_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.which", lambda _: None)
    with pytest.raises(NoCompiler, match="install gcc and libc6-dev"):
        compile_layer(tmp_path)


def event(op: str, inode: int, path: str, data: bytes = b"", offset: int = 0, other: str = "") -> Event:
    """Make a line of a log."""
    return Event(op, inode, offset, path, other, data)


def left(events: list[Event], share: float, seed: int, folder: Path) -> dict[str, bytes]:
    """Cut the power after some events; returns every file left."""
    disk = Disk()
    for one in events:
        disk.take(one)
    disk.cut(random.Random(seed), share)
    folder.mkdir()
    disk.write(folder)
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_what_was_synced_survives_and_nothing_else_needs_to(tmp_path: Path) -> None:
    made = [event("create", 7, "/a"), event("write", 7, "/a", b"kept"), event("sync", 7, "/a")]
    assert left(made, 0, 1, tmp_path / "name") == {}
    synced = [*made, event("sync", 1, "")]
    assert left([*synced, event("write", 7, "/a", b"lost", 4)], 0, 1, tmp_path / "write") == {"a": b"kept"}
    assert left([*synced, event("write", 7, "/a", b"more", 4)], 1, 1, tmp_path / "all") == {"a": b"keptmore"}
    assert left([*synced, event("resize", 7, "/a")], 0, 1, tmp_path / "size") == {"a": b"kept"}


def test_a_renaming_is_lost_or_kept_and_never_half(tmp_path: Path) -> None:
    events = [event("create", 7, "/a"), event("write", 7, "/a", b"old"), event("sync", 7, "/a"), event("sync", 1, "")]
    events += [event("create", 8, "/t"), event("write", 8, "/t", b"new"), event("sync", 8, "/t")]
    events.append(event("rename", 8, "/t", other="/a"))
    found = [left(events, 0.5, seed, tmp_path / str(seed)) for seed in range(30)]
    assert {one["a"] for one in found} == {b"old", b"new"}
    assert all(set(one) <= {"a", "t"} for one in found)


def test_unsynced_writes_are_reordered_and_torn_at_sectors(tmp_path: Path) -> None:
    events = [event("create", 7, "/a"), event("sync", 1, "")]
    events += [event("write", 7, "/a", bytes([number]) * 2048, 2048 * number) for number in (1, 2)]
    found = {left(events, 0.5, seed, tmp_path / str(seed)).get("a", b"") for seed in range(60)}
    assert any(b"\2" in one and b"\1" not in one for one in found)
    assert {one.count(b"\1") % 512 for one in found} == {0}
    assert any(0 < one.count(b"\1") < 2048 for one in found)


def test_a_cut_tells_what_was_told_before_it(tmp_path: Path) -> None:
    call = event("call", 0, "/a", other="write")
    events = [call, event("mark", 0, "", b"first"), call, event("mark", 0, "", b"second"), call]
    assert cut_at(events, 1, 1, tmp_path) == ["first"]
    assert cut_at(events, 2, 1, tmp_path) == ["first", "second"]


NO_SYNC = "import os; os.fsync = lambda handle: None"
NO_SQLITE_SYNC = """
from sqlalchemy import event, pool
event.listen(pool.Pool, "checkout", lambda c, *_: c.execute("PRAGMA synchronous = OFF").fetchall())
"""


@pytest.mark.parametrize("before", [NO_SYNC, NO_SQLITE_SYNC], ids=["files", "database"])
def test_a_program_that_does_not_sync_is_found(before: str) -> None:
    with workers(1, before) as started:
        count = len(started.calls("migration"))
        # Spread out: where the database is written its loss shows as damage more often than as an entry that is gone.
        points = [Point("migration", POWER, count - back, seed) for back in range(20, 90, 10) for seed in range(3)]
        found = [line for result in started.make(points) for line in broken(result)]
    assert any(": kept: " in line for line in found)
