"""Captures made without the server, then sent over a line that breaks: `python -m tests.benchmarks.offline`.

A real browser takes clips and typed readings while the server is away. Then the line comes back badly: connections are
ended before anything, in the middle of what is sent, or with the answer on its way, at random; and the server is killed
once and started again. Counted are what is missing on the server and what is there twice, by the files' own hashes and
the typed values, and the time until nothing waits.
"""

from __future__ import annotations

import argparse
import asyncio
import hashlib
import io
import random
import tempfile
import threading
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx2 as httpx
import soundfile
from playwright.sync_api import FilePayload, Page, expect, sync_playwright
from rich.console import Console
from rich.table import Table

from tests.e2e import running
from tests.e2e.conftest import DESCRIPTION, PHONE, fixtures

CUT_SHARE = 0.5
"""Share of connections that are cut while the line is bad."""


class BadLine:
    """A proxy on the loopback whose connections break at random.

    Attributes:
        state: "through", "away" (every connection is ended at once) or "bad".
        fates: How connections ended while the line was bad.
    """

    def __init__(self, target: int, seed: int) -> None:
        self.target, self.port, self.state = target, running.free_port(), "through"
        self.random = random.Random(seed)
        self.fates: Counter[str] = Counter()
        self.open: set[asyncio.StreamWriter] = set()
        self.loop = asyncio.new_event_loop()
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        asyncio.set_event_loop(self.loop)
        self.loop.run_until_complete(asyncio.start_server(self._serve, "127.0.0.1", self.port))
        self.loop.run_forever()

    def turn(self, state: str) -> None:
        """Change the line; connections that are open end."""

        def now() -> None:
            self.state = state
            for writer in list(self.open):
                writer.close()

        self.loop.call_soon_threadsafe(now)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        fate, left = "through", 10**9
        if self.state == "bad" and self.random.random() < CUT_SHARE:
            fate = self.random.choice(["cut at once", "cut in the sending", "answer lost"])
            left = self.random.randrange(500, 90_000)
        if self.state == "bad":
            self.fates[fate] += 1
        self.open.add(writer)
        try:
            if self.state == "away" or fate == "cut at once":
                return
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.target)
            self.open.add(far_writer)
            up = self._pass(reader, far_writer, left if fate == "cut in the sending" else 10**9)
            down = self._pass(far_reader, writer, 0 if fate == "answer lost" else 10**9)
            tasks = [asyncio.ensure_future(up), asyncio.ensure_future(down)]
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in tasks:
                task.cancel()
            far_writer.close()
            self.open.discard(far_writer)
        except OSError:
            pass
        finally:
            writer.close()
            self.open.discard(writer)

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, left: int) -> None:
        """Pass bytes on until so many have gone; the rest is lost, with the connection."""
        with suppress(OSError):
            while data := await reader.read(8192):
                if len(data) > left:
                    return
                left -= len(data)
                writer.write(data)
                await writer.drain()


def clips(count: int) -> list[bytes]:
    """Make clips that differ in one sample each, so that each is a file of its own."""
    sound, rate = soundfile.read(fixtures() / "clips" / "c01.flac", dtype="int16")
    found = []
    for number in range(count):
        sound[0] = number
        out = io.BytesIO()
        soundfile.write(out, sound, rate, format="WAV", subtype="PCM_16")
        found.append(out.getvalue())
    return found


def capture(page: Page, files: list[bytes], typed: int) -> None:
    """Take all of it without the server: clips, and typed resistances among them."""
    every = max(1, len(files) // max(1, typed))
    done = 0
    for number, data in enumerate(files):
        page.locator("#clip").set_input_files(FilePayload(name=f"{number}.wav", mimeType="audio/wav", buffer=data))
        done += 1
        if number % every == 0 and number // every < typed:
            form = page.locator("#typing form")
            if not form.is_visible():
                page.get_by_role("button", name="Type", exact=True).click()
            form.locator("[name=value]").fill(f"{1000 + number // every}")
            form.locator("[name=kind]").select_option("winding_resistance")
            form.locator("[name=axis]").select_option("Y")
            form.get_by_role("button").click()
            done += 1
        expect(page.locator("#unsent")).to_contain_text(f"{done} not sent yet", timeout=60_000)


def count(url: str, job: str, files: list[bytes], typed: int) -> tuple[int, int]:
    """Count what is missing on the server, and what is there more than once."""
    lost = doubled = 0
    for data in files:
        answer = httpx.get(f"{url}/api/evidence/{hashlib.sha256(data).hexdigest()}", timeout=60)
        arrivals = len(answer.json()["captures"]) if answer.status_code == 200 else 0
        lost, doubled = lost + (arrivals == 0), doubled + max(0, arrivals - 1)
    proposals: list[dict[str, Any]] = httpx.get(f"{url}/api/jobs/{job}/proposals", timeout=60).json()
    values = Counter(str(one["value"]) for one in proposals)
    for number in range(typed):
        found = values[str(1000 + number)]
        lost, doubled = lost + (found == 0), doubled + max(0, found - 1)
    return lost, doubled


def main() -> None:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.offline", description=__doc__)
    parser.add_argument("--captures", type=int, default=200)
    parser.add_argument("--typed", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    wanted = parser.parse_args()
    files = clips(wanted.captures)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as play, running.browser(play) as browser:
        restarting = running.Restarting(Path(place))
        restarting.start()
        line = BadLine(restarting.port, wanted.seed)
        job = httpx.post(f"{restarting.server.url}/api/jobs", json=DESCRIPTION, timeout=60).json()["id"]
        page = browser.new_context(viewport=PHONE).new_page()
        page.goto(f"http://127.0.0.1:{line.port}/#/jobs/{job}")
        expect(page.locator("section.axis")).to_have_count(2, timeout=60_000)
        line.turn("away")
        expect(page.locator("#link")).to_contain_text("Server away", timeout=30_000)
        begun = time.monotonic()
        capture(page, files, wanted.typed)
        captured_s = time.monotonic() - begun
        line.turn("bad")
        begun = time.monotonic()
        page.wait_for_function(
            "most => { const n = parseInt(document.querySelector('#unsent').textContent); return !(n > most); }",
            arg=(wanted.captures + wanted.typed) // 2,
            timeout=1_800_000,
        )
        restarting.kill()
        restarting.start()
        expect(page.locator("#unsent")).to_have_text("", timeout=1_800_000)
        sent_s = time.monotonic() - begun
        refused = page.locator("#refused").inner_text()
        lost, doubled = count(restarting.server.url, job, files, wanted.typed)
        result = httpx.get(f"{restarting.server.url}/api/verify", timeout=300).json()["result"]
        restarting.kill()
    table = Table(title="Captured while the server was away, sent over a line that breaks")
    for name in ("clips", "typed", "taken in, s", "sent in, s", "lost", "doubled", "refused", "trail"):
        table.add_column(name)
    figures = (
        wanted.captures,
        wanted.typed,
        round(captured_s),
        round(sent_s),
        lost,
        doubled,
        refused or "none",
        result,
    )
    table.add_row(*(str(one) for one in figures))
    console = Console(width=140)
    console.print(table)
    console.print("Connections: " + ", ".join(f"{count} {fate}" for fate, count in sorted(line.fates.items())))


if __name__ == "__main__":
    main()
