"""The clients and the server of a load run, all on this machine's loopback, each client from an address of its own."""

from __future__ import annotations

import asyncio
import hashlib
import os
import socket
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2 as httpx
import psutil

from tests.api.makers import JOB

ROOT = Path(__file__).parents[3]
CLIPS = ROOT / "fixtures" / "visit" / "clips"
START_S = 60.0
LOOK_EVERY_S = 0.25
"""How often memory is read, s."""


@dataclass
class Sent:
    """One capture that a client sent.

    Attributes:
        client_id: Its id, known to the server too.
        sha256: Hash of its bytes.
        acknowledged_s: From the first byte sent to the answer; None where none came.
        status: Of the answer; 0 where none came.
    """

    client_id: str
    sha256: str
    acknowledged_s: float | None = None
    status: int = 0


@dataclass
class Run:
    """What a run measured.

    Attributes:
        sent: Every capture.
        refused: Answers 429 and 503, each of them tried again when the server said.
        pages_s: How long each page took, s.
        server_mb: Most resident memory of the server's own process, MB of 10^6 bytes.
        tree_mb: The same with the processes that it started.
        sending_s: How long all clients took to send, s.
        stop_s: How long the server took to stop when told to, s.
        states: Captures on file by state, when the server had stopped.
        lost: Acknowledged and not on file, or with other bytes.
        status: What the server said of its queue last.
        verified: What the verification of the folder said.
        load_before: Load of the machine before anything ran.
        load_after: The same at the end.
    """

    sent: list[Sent] = field(default_factory=list)
    refused: Counter[int] = field(default_factory=Counter)
    pages_s: list[float] = field(default_factory=list)
    server_mb: float = 0.0
    tree_mb: float = 0.0
    sending_s: float = 0.0
    stop_s: float = 0.0
    states: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    status: dict[str, Any] = field(default_factory=dict)
    verified: str = ""
    load_before: float = field(default_factory=lambda: os.getloadavg()[0])
    load_after: float = 0.0


def free_port() -> int:
    """Find a port of the loopback that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serving(data: Path, code: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Start `ohmtrail serve` from the source in a folder; gives its address and its process."""
    port = free_port()
    environment = {**os.environ, "OHMTRAIL_DATA": str(data), "OHMTRAIL_PORT": str(port), "PYTHONPATH": str(code)}
    with (data.parent / "server.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-c", "from api.cli import main; main()", "serve"],
            env=environment, cwd=code, stdout=log, stderr=log,
        )  # fmt: skip
        try:
            address = f"http://127.0.0.1:{port}"
            _wait(address, process)
            yield address, process
        finally:
            if process.poll() is None:
                process.terminate()
                with suppress(subprocess.TimeoutExpired):
                    process.wait(60)
            if process.poll() is None:
                process.kill()
                process.wait()


def _wait(address: str, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end and process.poll() is None:
        with suppress(httpx.TransportError):
            httpx.get(f"{address}/api/jobs", timeout=5)
            return
        time.sleep(0.2)
    raise AssertionError("The server did not start.")


async def _job(run: Run, client: httpx.AsyncClient, title: str, end: float) -> str:
    """Make a job, again where the server has no room at the moment; raises where it has none until the end."""
    while True:
        answer = await client.post("/api/jobs", json={**JOB, "title": title})
        if answer.status_code not in (429, 503) or time.monotonic() > end:
            return str(answer.raise_for_status().json()["id"])
        run.refused[answer.status_code] += 1
        await asyncio.sleep(float(answer.headers.get("retry-after", "1")))


async def send_captures(run: Run, address: str, number: int, captures: int, end: float, name: str = "load-") -> None:
    """Send captures one after the other, as the page does: what is refused for the moment is tried again."""
    clips = sorted(CLIPS.glob("*.flac"))
    transport = httpx.AsyncHTTPTransport(local_address=f"127.0.{1 + number // 250}.{1 + number % 250}")
    async with httpx.AsyncClient(transport=transport, base_url=address, timeout=600) as client:
        job = await _job(run, client, f"{name}{number}", end)
        for index in range(captures):
            data = clips[(number * captures + index) % len(clips)].read_bytes()
            one = Sent(f"{name}{number}-{index}", hashlib.sha256(data).hexdigest())
            run.sent.append(one)
            while time.monotonic() < end:
                began = time.monotonic()
                answer = await client.post(
                    f"/api/jobs/{job}/evidence",
                    files={"file": ("clip.flac", data)},
                    data={"client_id": one.client_id},
                    headers={"prefer": "respond-async"},
                )
                one.status = answer.status_code
                if answer.status_code in (201, 202):
                    one.acknowledged_s = time.monotonic() - began
                    break
                run.refused[answer.status_code] += 1
                await asyncio.sleep(float(answer.headers.get("retry-after", "1")))


async def watch(run: Run, process: subprocess.Popen[bytes], going: asyncio.Event) -> None:
    """Read how much memory the server has."""
    server = psutil.Process(process.pid)
    while not going.is_set():
        with suppress(psutil.Error):
            own = server.memory_info().rss / 1e6
            below = sum(child.memory_info().rss for child in server.children(recursive=True)) / 1e6
            run.server_mb, run.tree_mb = max(run.server_mb, own), max(run.tree_mb, own + below)
        await asyncio.sleep(LOOK_EVERY_S)


@contextmanager
def probing(run: Run, address: str) -> Iterator[None]:
    """Look at pages meanwhile, from a process of its own, so that the clients' own work is not in the figures."""
    command = [sys.executable, "-m", "tests.benchmarks.load.probe", address]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    probe = subprocess.Popen(
        command, env=environment, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        yield
    finally:
        said, _ = probe.communicate("\n", timeout=120)
        run.pages_s = [float(line) for line in said.splitlines()]


async def _send_all(
    run: Run,
    address: str,
    process: subprocess.Popen[bytes],
    clients: int,
    captures: int,
    seconds: float,
    reading: float,
) -> None:
    going = asyncio.Event()
    watching = asyncio.create_task(watch(run, process, going))
    began = time.monotonic()
    tasks = [asyncio.create_task(send_captures(run, address, n, captures, began + seconds)) for n in range(clients)]
    done, late = await asyncio.wait(tasks, timeout=seconds)
    run.sending_s = time.monotonic() - began
    for task in late:
        task.cancel()
    await asyncio.gather(*late, return_exceptions=True)
    for task in done:
        task.result()
    end = time.monotonic() + reading
    async with httpx.AsyncClient(base_url=address, timeout=600) as client:
        while True:
            answer = await client.get("/api/status")
            run.status = answer.json()["queue"] if answer.status_code == 200 else {}
            if time.monotonic() >= end or not (run.status.get("waiting") or run.status.get("reading")):
                break
            await asyncio.sleep(1)
    going.set()
    await watching


def measure(
    folder: Path, *, clients: int, captures: int, seconds: float, reading: float, code: Path | None = None
) -> Run:
    """Run the load and check what is on file against what was acknowledged.

    Args:
        folder: An empty folder for the data and the server's log.
        clients: How many send at the same time.
        captures: How many clips each sends.
        seconds: How long they may send at most, s.
        reading: How long the server may read on after that before it is stopped, s.
        code: Folder of the source to run; None for this one.
    """
    run, data = Run(), folder / "data"
    with serving(data, code or ROOT) as (address, process):
        with probing(run, address):
            asyncio.run(_send_all(run, address, process, clients, captures, seconds, reading))
        began = time.monotonic()
        process.terminate()
        process.wait(120)
        run.stop_s = time.monotonic() - began
    run.load_after = os.getloadavg()[0]
    _check(run, data)
    return run


def _check(run: Run, data: Path) -> None:
    """Look into the folder itself: rows, bytes of every file, verification."""
    from api.ledger.verify import verify_folder

    with sqlite3.connect(data / "ohmtrail.db") as connection:
        table = connection.execute("SELECT name FROM sqlite_master WHERE name LIKE 'capture%' AND type = 'table'")
        rows = connection.execute(f"SELECT client_id, sha256, state FROM {table.fetchone()[0]}").fetchall()
    found = {client_id: sha256 for client_id, sha256, _ in rows}
    run.states = Counter(state for _, _, state in rows)
    for one in run.sent:
        if one.acknowledged_s is None:
            continue
        path = data / "evidence" / one.sha256[:2] / one.sha256[2:]
        kept = path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == one.sha256
        if found.get(one.client_id) != one.sha256 or not kept:
            run.lost.append(one.client_id)
    verified = verify_folder(data).to_json()
    run.verified = str(verified["result"])
