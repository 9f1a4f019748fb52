"""Measures how many people can speak at once: live streams in real time, from the end of speech to the answer.

usage: python -m tests.benchmarks.streams [--streams 1 2 4 8] [--clips 6]

Each stream is a connection of its own to a real server, on a job of its own, and sends the demo's clips at the pace at
which they were spoken. Beside the time stands the processor time that the server spent for each second of speech, with
second opinion and evidence; a machine that is busy with other things changes it little. Cores divided by it is how many
streams can be kept up with at all.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import os
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import httpx2 as httpx
import numpy as np
import soundfile
import websockets
from rich.console import Console
from rich.table import Table

from tests.api.makers import JOB
from tests.e2e import running

CLIPS = Path(__file__).parents[2] / "fixtures" / "visit" / "clips"
RATE = 16_000
FRAME_S = 0.1
AIM_S = 0.3
MOST = 32
"""Listening connections that the server is told to allow, since all of them come from one address here."""


async def spoken(url: str, job: str, clips: list[Path]) -> list[float]:
    """Speak clips one after the other; gives the seconds from the end of each to its answer."""
    took = []
    async with websockets.connect(f"ws{url.removeprefix('http')}/api/jobs/{job}/listen") as line:
        for clip in clips:
            samples, _rate = soundfile.read(clip, dtype="int16")
            await line.send(json.dumps({"type": "start"}))
            began = time.perf_counter()
            for number, at in enumerate(range(0, len(samples), int(RATE * FRAME_S))):
                await asyncio.sleep(max(0.0, began + number * FRAME_S - time.perf_counter()))
                await line.send(np.asarray(samples[at : at + int(RATE * FRAME_S)]).tobytes())
            ended = time.perf_counter()
            await line.send(json.dumps({"type": "end"}))
            while json.loads(await line.recv())["type"] not in ("final", "error"):
                pass
            took.append(time.perf_counter() - ended)
    return took


def processor_s(group: int) -> float:
    """Give the processor time of all living processes of a group and of those that they waited for, s."""
    ticks = 0
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            found = path.read_text().rpartition(")")[2].split()
        except OSError:  # it ended meanwhile
            continue
        if int(found[2]) == group:
            ticks += sum(map(int, found[11:15]))
    return ticks / os.sysconf("SC_CLK_TCK")


def shares(count: int, each: int) -> Iterator[list[Path]]:
    """Give each stream its clips, others than its neighbours'."""
    clips = itertools.cycle(sorted(CLIPS.glob("*.flac")))
    for _ in range(count):
        yield list(itertools.islice(clips, each))


async def together(url: str, jobs: list[str], each: int) -> list[float]:
    """Let all speak at the same time."""
    found = await asyncio.gather(
        *(spoken(url, job, clips) for job, clips in zip(jobs, shares(len(jobs), each), strict=True))
    )
    return [took for one in found for took in one]


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--streams", type=int, nargs="+", default=[1, 2, 4, 8], help="how many speak at once")
    parser.add_argument("--clips", type=int, default=6, help="clips of each stream")
    given = parser.parse_args()
    os.environ |= {"OHMTRAIL_LIMIT_SOCKETS": str(MOST), "OHMTRAIL_LIMIT_SOCKETS_PER_CLIENT": str(MOST)}
    table = Table(
        "streams", f"end of speech to answer, s: p50 / p95 (aim {AIM_S})", "processor s a s of speech", "load"
    )
    with tempfile.TemporaryDirectory() as folder:
        served = running.Restarting(Path(folder))
        served.start()
        assert served.process is not None
        try:
            url = served.server.url

            def jobs(count: int) -> list[str]:
                return [str(httpx.post(f"{url}/api/jobs", json=JOB, timeout=60).json()["id"]) for _ in range(count)]

            asyncio.run(together(url, jobs(2), 1))  # the first loads the models
            for count in given.streams:
                said_s = sum(soundfile.info(clip).duration for share in shares(count, given.clips) for clip in share)
                before = processor_s(served.process.pid)
                took = sorted(asyncio.run(together(url, jobs(count), given.clips)))
                spent = processor_s(served.process.pid) - before
                p95 = took[min(len(took) - 1, round(0.95 * len(took)))]
                table.add_row(
                    str(count),
                    f"{statistics.median(took):.2f} / {p95:.2f} ({len(took)} clips)",
                    f"{spent / said_s:.2f}",
                    f"{os.getloadavg()[0]:.0f} on {os.cpu_count()} cores",
                )
        finally:
            served.kill()
    Console(width=110).print(table)


if __name__ == "__main__":
    main()
