"""The server as a process of its own: started by the command line, spoken to over real sockets, killed, restarted."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest
import websockets

from api.ledger.trail import read_head, write_head
from api.ledger.verify import verify_folder
from tests.api.makers import JOB

COMMAND = [sys.executable, "-c", "from api.cli import main; main()"]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def ask(port: int, path: str, body: Any = None) -> Any:
    data = None if body is None else json.dumps(body).encode()
    request = Request(f"http://127.0.0.1:{port}{path}", data, {"content-type": "application/json"})
    with urlopen(request, timeout=20) as answer:
        return json.load(answer)


class Server:
    """One running server."""

    def __init__(self, data: Path) -> None:
        self.port = free_port()
        self.data = data
        environment = {**os.environ, "OHMTRAIL_DATA": str(data), "OHMTRAIL_PORT": str(self.port)}
        self.process = subprocess.Popen([*COMMAND, "serve"], env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(300):
            try:
                ask(self.port, "/api/jobs")
                return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the server did not start")

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        self.process.send_signal(how)
        self.process.wait(20)
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    running = Server(tmp_path / "data")
    yield running
    if running.process.poll() is None:
        running.stop()


def test_it_listens_on_this_machine_only(server: Server) -> None:
    lines = Path("/proc/net/tcp").read_text().splitlines()[1:]
    listening = [line.split()[1] for line in lines if line.split()[3] == "0A"]
    assert [address for address in listening if int(address.split(":")[1], 16) == server.port] == [
        f"0100007F:{server.port:04X}"
    ]


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "shop.example"])
def test_a_network_is_not_let_in_without_encryption(tmp_path: Path, host: str) -> None:
    ended = run("serve", "--host", host, data=tmp_path / "data")
    assert (ended.returncode, "ohmtrail serve --lan" in ended.stderr) == (1, True)
    assert not (tmp_path / "data").exists()


def test_what_was_acknowledged_survives_a_kill(server: Server) -> None:
    job = ask(server.port, "/api/jobs", JOB)["id"]
    typed = {"kind": "winding_resistance", "value": "1.08", "unit": "Ohm", "axis": "X", "section": "motor_alone"}
    ask(server.port, f"/api/jobs/{job}/typed", typed)
    ask(server.port, f"/api/proposals/{job}-P1/confirm", {"revision": 1})
    server.stop(signal.SIGKILL)
    again = Server(server.data)
    try:
        assert [record["value"] for record in ask(again.port, f"/api/jobs/{job}/records")] == ["1.08"]
        assert ask(again.port, "/api/verify")["result"] == "intact"
    finally:
        again.stop()
    assert verify_folder(server.data).intact


def test_a_line_that_is_torn_off_keeps_what_came(server: Server) -> None:
    ask(server.port, "/api/jobs", JOB)
    sound = b"".join((n % 2000 - 1000).to_bytes(2, "little", signed=True) for n in range(20_000)) + b"\x01"

    async def speak_and_tear() -> None:
        address = f"ws://127.0.0.1:{server.port}/api/jobs/J1/listen"
        async with websockets.connect(address) as line:
            await line.send(json.dumps({"type": "start", "captured_at": "2026-11-24T08:30:00-05:00"}))
            for start in range(0, len(sound), 3_201):  # pieces that end in mid-sample
                await line.send(sound[start : start + 3_201])
            await asyncio.sleep(0.3)
            line.transport.abort()

    asyncio.run(speak_and_tear())
    for _ in range(600):
        entries = ask(server.port, "/api/jobs/J1/trail")["entries"]
        if entries[-1]["what"] == "kept, cut":
            break
        time.sleep(0.1)
    assert entries[-1]["what"] == "kept, cut"
    evidence = ask(server.port, f"/api/evidence/{entries[-1]['note']['sha256']}")
    assert evidence["metadata"] == {"channels": 1, "duration_ms": 1250, "sample_rate": 16_000}
    assert evidence["captures"][0]["captured_at"] == "2026-11-24T08:30:00-05:00"


def test_frames_over_the_limit_close_the_line(server: Server) -> None:
    ask(server.port, "/api/jobs", JOB)

    async def shout() -> int:
        async with websockets.connect(f"ws://127.0.0.1:{server.port}/api/jobs/J1/listen") as line:
            await line.send(bytes(200_000))
            try:
                await line.recv()
            except websockets.ConnectionClosed as closed:
                return closed.rcvd.code if closed.rcvd else 0
        return -1

    assert asyncio.run(shout()) == 1009  # RFC 6455, 7.4.1: message too big


def run(*arguments: str, data: Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "OHMTRAIL_DATA": str(data)}
    return subprocess.run(
        [*COMMAND, *arguments], env=environment, capture_output=True, text=True, timeout=120, check=False
    )


def test_the_commands_of_the_server(tmp_path: Path) -> None:
    data, description = tmp_path / "data", tmp_path / "job.json"
    description.write_text(json.dumps(JOB))
    made = run("jobs", "--new", str(description), data=data)
    assert made.returncode == 0, made.stderr
    assert "Job J1 made." in made.stdout
    report = run("report", "J1", "--out", str(tmp_path / "r.html"), data=data)
    assert report.returncode == 0, report.stderr
    assert (tmp_path / "r.html").read_text().lstrip().lower().startswith("<!doctype html>")
    good = run("verify", data=data)
    assert (good.returncode, "intact" in good.stdout) == (0, True)
    head = data / "trail-head.json"
    noted = read_head(head)
    assert noted is not None
    write_head(head, noted._replace(seq=noted.seq + 1000))
    bad = run("verify", data=data)
    assert (bad.returncode, "tail was cut off" in bad.stdout) == (1, True)
    wrong = run("report", "J9", data=data)
    assert (wrong.returncode, wrong.stderr.startswith("There is no job 'J9'.")) == (1, True)
    description.write_text("{")
    assert "is not JSON" in run("jobs", "--new", str(description), data=data).stderr


def test_one_file_may_describe_several_jobs(tmp_path: Path) -> None:
    """The three machines of the afternoon, as the README has them made."""
    described = Path(__file__).parents[3] / "fixtures" / "afternoon" / "jobs.json"
    made = run("jobs", "--new", str(described), data=tmp_path / "data")
    assert made.returncode == 0, made.stderr
    assert len(json.loads(described.read_text("utf-8"))) == 3
    assert [line for line in made.stdout.splitlines() if line.endswith("made.")] == [
        "Job J1 made.", "Job J2 made.", "Job J3 made.",
    ]  # fmt: skip


def test_every_command_has_help(tmp_path: Path) -> None:
    listed = run("--help", data=tmp_path)
    assert listed.returncode == 0
    for name in ("demo", "serve", "hear", "see", "grade", "verify", "report", "jobs"):
        assert name in listed.stdout
        assert run(name, "--help", data=tmp_path).returncode == 0
