"""Strangers against a real server: `python -m tests.benchmarks.load.strangers`.

900 uploads of which only the beginning is ever sent, then 200 listening connections that send a little sound and go on
for ever; each once from one address and once from a hundred. Meanwhile honest clients send real clips and somebody
looks at pages. Prints what the strangers were answered, how many connections they still held, what the honest waited,
and the memory of the server and of its processes before and meanwhile.
"""

from __future__ import annotations

import argparse
import asyncio
import base64
import os
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import httpx2 as httpx
import psutil
from rich.console import Console
from rich.table import Table

from tests.api.makers import JOB
from tests.benchmarks.load.__main__ import quantile
from tests.benchmarks.load.driver import ROOT, Run, probing, send_captures, serving, watch

HELD_S = 3.0
"""How long the strangers go on before the honest begin, s."""

HONEST, CAPTURES = 10, 4
ADDRESSES = 100


@dataclass
class Siege:
    """What one kind of strangers did to the server.

    Attributes:
        name: What they did, how often, from how many addresses.
        before: Memory of the server, and of it with its processes, MB of 10^6 bytes.
        run: What the honest saw meanwhile, and the memory then.
        answers: What the strangers were answered, by status; 0 where the connection was ended without a word.
        waiting: Connections that are open without an answer, or accepted as listening.
        held: How many were when the honest began.
    """

    name: str
    before: tuple[float, float]
    run: Run = field(default_factory=Run)
    answers: Counter[int] = field(default_factory=Counter)
    waiting: int = 0
    held: int = 0


def half_upload(host: str) -> bytes:
    """Give the beginning of an upload of 9,000 bytes."""
    return (
        f"POST /api/jobs/J1/evidence HTTP/1.1\r\nHost: {host}\r\nContent-Type: multipart/form-data; boundary=b\r\n"
        'Content-Length: 9000\r\n\r\n--b\r\nContent-Disposition: form-data; name="file"; filename="x"\r\n\r\n'
    ).encode()


def listener(host: str) -> bytes:
    """Give a handshake and a second of silence: a frame as in RFC 6455, 5.2, masked by zeros."""
    key = base64.b64encode(os.urandom(16)).decode()
    head = (
        f"GET /api/jobs/J1/listen HTTP/1.1\r\nHost: {host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n"
    )
    start = b'{"type":"start","client_id":"stranger","sample_rate":16000}'
    sound = bytes(32_000)
    return (
        head.encode()
        + bytes((0x81, 0x80 | len(start))) + bytes(4) + start
        + bytes((0x82, 0xFE)) + len(sound).to_bytes(2, "big") + bytes(4) + sound
    )  # fmt: skip


async def _stranger(siege: Siege, address: str, source: str, sent: bytes) -> None:
    """Send a beginning, and wait for whatever the server says to it."""
    where = urlsplit(address)
    siege.waiting += 1
    status = 0
    with suppress(OSError):
        reader, writer = await asyncio.open_connection(where.hostname, where.port, local_addr=(source, 0))
        try:
            writer.write(sent)
            await writer.drain()
            line = await reader.readline()
            status = int(line.split()[1]) if line else 0
            siege.answers[status] += 1
            if status == 101:
                await reader.read()  # until the server ends it
            siege.waiting -= 1
            return
        finally:
            writer.close()
    siege.answers[0] += 1
    siege.waiting -= 1


async def _besiege(
    siege: Siege, address: str, process: subprocess.Popen[bytes], count: int, addresses: int, sent: Callable[[], bytes]
) -> None:
    going = asyncio.Event()
    watching = asyncio.create_task(watch(siege.run, process, going))
    strangers = [
        asyncio.create_task(_stranger(siege, address, f"127.1.0.{1 + n % addresses}", sent())) for n in range(count)
    ]
    await asyncio.sleep(HELD_S)
    siege.held = siege.waiting
    end = time.monotonic() + 120
    clients: list[Awaitable[None]] = [
        send_captures(siege.run, address, n, CAPTURES, end, f"{siege.name} ") for n in range(HONEST)
    ]
    await asyncio.gather(*clients)
    for one in strangers:
        one.cancel()
    await asyncio.gather(*strangers, return_exceptions=True)
    going.set()
    await watching


def memory(process: subprocess.Popen[bytes]) -> tuple[float, float]:
    """Give the memory of the server, and of it with its processes, MB."""
    server = psutil.Process(process.pid)
    own = server.memory_info().rss / 1e6
    return own, own + sum(child.memory_info().rss for child in server.children(recursive=True)) / 1e6


def main() -> None:
    """Run the four sieges against one server and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--uploads", type=int, default=900)
    parser.add_argument("--sockets", type=int, default=200)
    given = parser.parse_args()
    table = Table(title=f"Strangers, and {HONEST} honest clients with {CAPTURES} clips each")
    for heading in ("strangers", "answers", "held", "MB before", "MB meanwhile", "acknowledged", "s, p50 / longest",
                    "sent again", "pages p50 / p95, ms"):  # fmt: skip
        table.add_column(heading)
    kinds = (("half-sent uploads", given.uploads, half_upload), ("listening connections", given.sockets, listener))
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder) / "data", ROOT) as (address, process):
        httpx.post(f"{address}/api/jobs", json=JOB, timeout=60).raise_for_status()
        warm = Run()
        asyncio.run(send_captures(warm, address, 0, 4, 1e12, "warm "))
        for name, count, sent in kinds:
            for addresses in (1, ADDRESSES):
                host = urlsplit(address).netloc
                siege = Siege(f"{count} {name}, {addresses} address{'es' * (addresses > 1)}", memory(process))
                with probing(siege.run, address):
                    asyncio.run(_besiege(siege, address, process, count, addresses, lambda: sent(host)))  # noqa: B023 - run at once
                table.add_row(*_row(siege))
    Console(width=180).print(table)
    print(f"Load of the machine: {os.getloadavg()[0]:.1f}.")


def _row(siege: Siege) -> list[str]:
    run = siege.run
    took = [one.acknowledged_s for one in run.sent if one.acknowledged_s is not None]
    return [
        siege.name,
        ", ".join(f"{status}: {number}" for status, number in sorted(siege.answers.items())),
        str(siege.held),
        f"{siege.before[0]:.0f} ({siege.before[1]:.0f})",
        f"{run.server_mb:.0f} ({run.tree_mb:.0f})",
        f"{len(took)} of {len(run.sent)}",
        f"{quantile(took, 0.5):.2f} / {max(took, default=float('nan')):.2f}",
        str(dict(run.refused) or 0),
        f"{1000 * quantile(run.pages_s, 0.5):.0f} / {1000 * quantile(run.pages_s, 0.95):.0f}",
    ]


if __name__ == "__main__":
    main()
