"""kill -9 in a loop of captures: nothing acknowledged is lost, the chain stays whole, the next start goes on.

SIGKILL leaves the system's page cache alive, so this shows nothing about loss of power; for that the test below holds
every connection to WAL with full syncing, and every stored file to the order write, sync, rename, sync of the folder.
"""

from __future__ import annotations

import os
import random
import signal
import time
from pathlib import Path

import pytest
from sqlmodel import select

from api.intake.intake import Intake
from api.ledger.store import Store
from api.ledger.tables import CaptureRow, EvidenceRow
from api.ledger.verify import verify_folder
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB, FakeEngines, clip

KILLS = 50
WORDS = ["x ray axis through the cable a one to a two one point zero eight ohms", "confirm", "correction two ohms"]


def capture_for_ever(folder: Path, report: int, start: int) -> None:
    """Take clip after clip, and report each one as soon as it is acknowledged."""
    workspace = Workspace.open(folder, engines=FakeEngines())
    number = start
    while True:
        number += 1
        answer = workspace.take_clip("J1", clip(WORDS[number % len(WORDS)], number), client_id=f"c{number}")
        os.write(report, f"{answer['capture']} {answer['sha256']}\n".encode())


def run_and_kill(folder: Path, start: int, rng: random.Random) -> list[str]:
    """Start a writer, kill it at a random moment after some acknowledgements, and return the lines reported whole."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            capture_for_ever(folder, writing, start)
        finally:
            os._exit(1)
    os.close(writing)
    with os.fdopen(reading, "rb") as pipe:
        lines = [pipe.readline() for _ in range(rng.randrange(4))]
        time.sleep(rng.uniform(0, 0.06))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        lines += pipe.readlines()
    return [line.decode().strip() for line in lines if line.endswith(b"\n")]


def test_kill_at_random_moments(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    workspace = Workspace.open(folder, engines=FakeEngines())
    workspace.create_job(JOB)
    workspace.close()
    rng = random.Random(1125)
    acknowledged: list[str] = []
    for number in range(KILLS):
        acknowledged += run_and_kill(folder, number * 1000, rng)
        if number % 10 == 9:
            opened = Workspace.open(folder, engines=FakeEngines())
            opened.close()
            found = verify_folder(folder)
            assert found.intact, found.problems
    assert len(acknowledged) > KILLS
    workspace = Workspace.open(folder, engines=FakeEngines())
    workspace.intake.resume()
    with workspace.database.read() as session:
        captures = {capture.id: capture for capture in session.exec(select(CaptureRow)).all()}
        evidence = set(session.exec(select(EvidenceRow.sha256)).all())
    for line in acknowledged:
        capture_id, sha256 = line.split()
        assert captures[capture_id].sha256 == sha256
        assert sha256 in evidence
        assert workspace.evidence.read(sha256)
    assert not [capture.id for capture in captures.values() if capture.state == "stored"]
    assert not list(folder.rglob(".tmp-*"))
    workspace.close()
    found = verify_folder(folder)
    assert found.intact, found.problems


def test_every_connection_syncs_fully(workspace: Workspace) -> None:
    for engine in (workspace.database._readers, workspace.database._writers):
        with engine.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_a_file_is_synced_before_it_gets_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = Store(tmp_path)
    calls: list[str] = []
    real_sync, real_replace = os.fsync, Path.replace

    def sync(handle: int) -> None:
        calls.append("sync folder" if Path(f"/proc/self/fd/{handle}").is_dir() else "sync file")
        real_sync(handle)

    def replace(self: Path, target: Path) -> Path:
        calls.append("rename")
        return real_replace(self, target)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(Path, "replace", replace)
    store.put(b"bytes")
    assert calls == ["sync folder", "sync file", "rename", "sync folder"]


@pytest.mark.parametrize("step", ["_receive", "_read", "_put_crops", "_conclude"])
def test_a_stop_at_any_step_of_the_intake(visit: Visit, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Kill the process at the beginning of a step; after the next start nothing stored is lost or unread."""

    class PowerCutError(BaseException):
        pass

    def die(*_: object, **__: object) -> None:
        raise PowerCutError

    with monkeypatch.context() as patch:
        patch.setattr(Intake, step, die)
        with pytest.raises(PowerCutError):
            visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    folder = visit.workspace.folder
    visit.workspace.close()
    workspace = Workspace.open(folder, engines=FakeEngines())
    assert len(workspace.adopted) == (1 if step == "_receive" else 0)
    assert workspace.intake.resume() == (0 if step == "_receive" else 1)
    found = workspace.verify()
    assert found.intact, found.problems
    workspace.close()


def test_a_command_from_before_the_stop_is_not_obeyed(visit: Visit, monkeypatch: pytest.MonkeyPatch) -> None:
    visit.say("x ray axis through the cable a one to a two one point zero eight ohms")
    with monkeypatch.context() as patch:
        patch.setattr(Intake, "_conclude", lambda *_, **__: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            visit.say("confirm")
    assert visit.workspace.intake.resume() == 1
    assert visit.records() == []
    visit.say("confirm")
    assert len(visit.records()) == 1
