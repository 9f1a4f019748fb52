"""`python -m tests.benchmarks.lan [--runs N] [--clips N]`: a phone's first page, and hearing over TLS beside loopback.

Machine time only: what a person needs to install the certificate, to scan and to type his name is not in it. The
browser runs on the same machine as the server, so there is no radio in between either.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import shutil
import ssl
import statistics
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2 as httpx
import soundfile
import websockets
from playwright.sync_api import Playwright, sync_playwright
from rich.console import Console
from rich.table import Table

from tests.api.makers import JOB
from tests.e2e import running
from tests.e2e.phone import Laptop, Phone

CLIPS = Path(__file__).parents[3] / "fixtures" / "visit" / "clips"
FRAME_S = 0.1
VOICE = shutil.which("flite") or shutil.which("espeak-ng")


@dataclass(frozen=True)
class Way:
    """How the server is spoken to."""

    name: str
    page: str
    socket: str
    trust: ssl.SSLContext | None = None
    cookie: str = ""


def first_page(play: Playwright, folder: Path) -> dict[str, float]:
    """Start, trust, pair and open a job on a phone-sized page; gives the seconds since the start."""
    began = time.perf_counter()
    marks: dict[str, float] = {}
    with running.server(folder, "--lan") as server:
        marks["the server answers"] = time.perf_counter() - began
        laptop = Laptop(server)
        name = laptop.name()
        phone = Phone(play, folder / "phone")
        phone.trust(server.folder / "access" / "authority.pem")
        with phone.browser({name: "127.0.0.1"}) as browser:
            page = browser.new_page()
            page.goto(f"{laptop.page(name)}/pair#{laptop.code()}")
            page.get_by_label("Your name").wait_for()
            marks["the pairing page is there"] = time.perf_counter() - began
            page.get_by_label("Your name").fill("-")
            page.get_by_role("button", name="Pair").click()
            page.get_by_role("link", name="New job").wait_for()
            marks["paired, the list of jobs is there"] = time.perf_counter() - began
            job = laptop.ask("POST", "/api/jobs", JOB)["id"]
            page.goto(f"{laptop.page(name)}/#/jobs/{job}")
            page.get_by_role("button", name="Speak").wait_for()
            marks["Speak can be pressed"] = time.perf_counter() - began
    return marks


async def heard(way: Way, job: str, clip: Path) -> tuple[float, float]:
    """Speak a clip in real time; gives the seconds from its end to the words, and to the sound of the read-back."""
    samples, _rate = soundfile.read(clip, dtype="int16")
    step = int(16_000 * FRAME_S)
    headers = {"cookie": way.cookie} if way.cookie else {}
    address = f"{way.socket}/api/jobs/{job}/listen"
    # The name leads to this machine without being looked up.
    port = int(way.socket.rpartition(":")[2])
    more: dict[str, Any] = {"ssl": way.trust, "host": "127.0.0.1", "port": port} if way.trust else {}
    async with websockets.connect(address, additional_headers=headers, **more) as line:
        await line.send(json.dumps({"type": "start"}))
        for at in range(0, len(samples), step):
            await line.send(samples[at : at + step].tobytes())
            await asyncio.sleep(FRAME_S)
        ended = time.perf_counter()
        await line.send(json.dumps({"type": "end"}))
        while True:
            said = json.loads(await line.recv())
            if said["type"] in ("final", "error"):
                break
    words = time.perf_counter() - ended
    if VOICE is None or not said.get("spoken"):
        return words, words
    async with httpx.AsyncClient(verify=way.trust or True, timeout=30) as client:
        # The page's own address over loopback; the Host that the server goes by.
        base = way.page if way.trust is None else f"https://localhost:{port}"
        host = {} if way.trust is None else {"host": way.page.partition("//")[2]}
        answer = await client.get(f"{base}/api/voice", params={"text": said["spoken"]}, headers={**headers, **host})
        answer.raise_for_status()
    return words, time.perf_counter() - ended


def speech(folder: Path, clips: int) -> list[tuple[str, list[float], list[float]]]:
    """Speak clips by both ways in turn, each by a job of its own."""
    with running.server(folder, "--lan") as server:
        laptop = Laptop(server)
        name, port = laptop.name(), laptop.https
        trust = ssl.create_default_context(cafile=str(server.folder / "access" / "authority.pem"))
        paired = httpx.post(
            f"https://localhost:{port}/api/pair",
            json={"code": laptop.code(), "device": "bench", "person": "-"},
            headers={"host": f"{name}:{port}"},
            verify=trust,
        )
        cookie = paired.raise_for_status().headers["set-cookie"].partition(";")[0]
        plain = server.url.removeprefix("http")
        ways = (
            Way("plain, loopback", server.url, f"ws{plain}"),
            Way("TLS, paired", f"https://{name}:{port}", f"wss://{name}:{port}", trust, cookie),
        )
        found: list[tuple[str, list[float], list[float]]] = [(way.name, [], []) for way in ways]
        jobs = [str(laptop.ask("POST", "/api/jobs", JOB)["id"]) for _ in ways]
        for clip in sorted(CLIPS.glob("*.flac"))[: clips + 1]:
            for way, job, (_, words, read_back) in zip(ways, jobs, found, strict=True):
                took = asyncio.run(heard(way, job, clip))
                words.append(took[0])
                read_back.append(took[1])
    return [(name, words[1:], read_back[1:]) for name, words, read_back in found]  # the first clip loads the models


def _cell(values: list[float]) -> str:
    low, high = min(values), max(values)
    return f"{statistics.median(values):.2f} ({low:.2f}-{high:.2f})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.lan", description=__doc__)
    parser.add_argument("--runs", type=int, default=3, help="how often the first page is measured")
    parser.add_argument("--clips", type=int, default=20, help="how many clips are spoken by each way")
    wanted = parser.parse_args()
    console = Console()
    with contextlib.ExitStack() as held:
        folder = Path(held.enter_context(tempfile.TemporaryDirectory()))
        play = held.enter_context(sync_playwright())
        places = [folder / str(run) for run in range(wanted.runs)]
        for place in places:
            place.mkdir()
        runs = [first_page(play, place) for place in places]
    table = Table("since serve --lan was started", f"s: median (least-most) of {wanted.runs}")
    for mark in runs[0]:
        table.add_row(mark, _cell([run[mark] for run in runs]))
    console.print(table)
    with tempfile.TemporaryDirectory() as other:
        spoken = speech(Path(other), wanted.clips)
    table = Table("end of speech to", *(name for name, _, _ in spoken))
    table.add_row("the words, s", *(_cell(words) for _, words, _ in spoken))
    table.add_row("the sound of the read-back (server's voice), s", *(_cell(back) for _, _, back in spoken))
    table.caption = f"{len(spoken[0][1])} clips each, median (least-most)"
    console.print(table)


if __name__ == "__main__":
    main()
