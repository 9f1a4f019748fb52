"""Kills the taking-in of a small afternoon at random points and takes it up again: nothing lost or doubled."""

from __future__ import annotations

import multiprocessing
import random
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path

from rich.console import Console
from rich.progress import track

from tests.api.day.afternoon import DayFakes, fill, opened, proposed, take


def child(data: str, files: str, ready: Connection) -> None:
    """Take a folder in, slowly, so that a kill falls anywhere."""

    class Slow(DayFakes):
        """Takes its time over each call."""

        def _count(self) -> None:
            time.sleep(0.05)

    workspace = opened(Path(data), Slow())
    ready.send(True)
    take(workspace, Path(files), workers=2)
    workspace.close()


def main(points: int, console: Console, seed: int = 1) -> int:
    """Kill at so many points; returns how many differed from the run that nobody killed."""
    rng = random.Random(seed)
    wrong, concluded = 0, 0
    context = multiprocessing.get_context("forkserver")  # each a process of its own, without loading everything again
    context.set_forkserver_preload(["tests.benchmarks.day.kills"])
    with tempfile.TemporaryDirectory() as place:
        files = fill(Path(place) / "files")
        whole = opened(Path(place) / "whole")
        begun = time.monotonic()
        take(whole, files, workers=2)
        usual = time.monotonic() - begun + 0.5
        expected = proposed(whole)
        whole.close()
        for point in track(range(points), "killing", console=console):
            data = Path(place) / f"data{point}"
            here, there = context.Pipe()
            process = context.Process(target=child, args=(str(data), str(files), there))
            process.start()
            here.recv()
            time.sleep(rng.uniform(0, usual))
            process.kill()
            process.join()
            again = opened(data)
            concluded += bool(proposed(again))
            take(again, files, workers=2)
            same = proposed(again) == expected and again.verify().summary.startswith("intact")
            wrong += not same
            again.close()
    console.print(
        f"{points} kills, {concluded} of them after everything was on record: {wrong} differed or not intact."
    )
    return wrong
