"""One process works on a data folder; others work beside it and neither sweep nor adopt nor recognise."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api import cli
from api.errors import Refused
from api.intake.owner import LOCK_FILE, described
from api.ledger.canonical import sha256_hex
from api.workspace import Workspace
from tests.api.conftest import Visit
from tests.api.makers import JOB, FakeEngines, clip

HOLD = """
import sys, time
from api.workspace import Workspace
workspace = Workspace.open(sys.argv[1])
print("open", flush=True)
time.sleep(60)
"""


RACE = """
import sys
from api.workspace import Workspace
workspace = Workspace.open(sys.argv[1])
sys.stdin.read()
"""


def test_a_second_owner_is_refused_with_the_name_of_the_first(workspace: Workspace) -> None:
    with pytest.raises(Refused) as caught:
        Workspace.open(workspace.folder, engines=FakeEngines())
    assert caught.value.code == "folder_in_use"
    assert f"process {os.getpid()} on " in str(caught.value)
    assert "stop it first" in caught.value.remedy
    workspace.create_job(JOB)
    workspace.close()
    Workspace.open(workspace.folder, engines=FakeEngines()).close()


def test_an_owner_that_was_killed_keeps_nobody_out(tmp_path: Path) -> None:
    holder = subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE)
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"open\n"
    with pytest.raises(Refused, match=f"process {holder.pid} on"):
        Workspace.open(tmp_path, engines=FakeEngines())
    assert (CliRunner().invoke(cli.app, ["serve", "--data", str(tmp_path)])).exit_code == 1
    holder.kill()
    holder.wait()
    assert str(holder.pid) in (tmp_path / LOCK_FILE).read_text("utf-8")
    Workspace.open(tmp_path, engines=FakeEngines()).close()


@pytest.mark.parametrize("text", ["", "{}", "[]", "nonsense", '{"pid": 1}', "\0" * 4096])
def test_a_lock_file_of_nonsense_is_described_in_words(text: str) -> None:
    assert described(text) == "another process"


def test_beside_an_owner_nothing_is_swept_adopted_or_recognised(
    visit: Visit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # the report is written here
    folder = visit.workspace.folder
    data = clip("x ray axis")
    sha256 = sha256_hex(data)
    orphan = folder / "evidence" / sha256[:2] / sha256[2:]
    orphan.parent.mkdir(exist_ok=True)
    orphan.write_bytes(data)
    left_over = folder / ".tmp-4000000-00ff"
    left_over.write_bytes(b"half")
    beside = Workspace.attach(folder)
    assert beside.adopted == []
    assert left_over.exists()
    with pytest.raises(Refused, match="without the right"):
        beside.take_clip(visit.job, clip("confirm"))
    assert beside.make_report(visit.job).sha256
    beside.close()
    assert CliRunner().invoke(cli.app, ["jobs", "--data", str(folder)]).exit_code == 0
    assert CliRunner().invoke(cli.app, ["report", visit.job, "--data", str(folder)]).exit_code == 0
    visit.workspace.close()
    opened = Workspace.open(folder, engines=FakeEngines())
    assert opened.adopted == [sha256]
    assert not left_over.exists()
    assert opened.verify().intact
    opened.close()


def test_two_that_start_at_once_do_not_both_open(tmp_path: Path) -> None:
    Workspace.open(tmp_path, engines=FakeEngines()).close()
    several = [
        subprocess.Popen(
            [sys.executable, "-c", RACE, str(tmp_path)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )
        for _ in range(3)
    ]  # fmt: skip
    deadline = time.monotonic() + 60
    while sum(one.poll() is not None for one in several) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    assert sorted(one.poll() is None for one in several) == [False, False, True]
    for one in several:
        one.communicate(timeout=30)
