"""Hours of memos and hundreds of photos taken in: wall time, processor time, memory; here, and by a local cluster.

    python -m tests.benchmarks.day.hours [--hours 8] [--photos 500] [--workers N] [--cluster]

The afternoon is said over and over, each time in fresh noise (20 dB), three times to a recording of an hour; photos are
those beside the words, their times moved and fresh noise in each, so that no file and no piece is like another. That
the same points come again each time is asked about, as it must be; what counts here is the cost.
"""

from __future__ import annotations

import argparse
import datetime as dt
import io
import json
import os
import tempfile
import threading
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import psutil
from numpy.typing import NDArray
from PIL import Image
from rich.console import Console
from rich.table import Table

from api.day.batch import DayOutcome, DayWishes, take_day
from api.day.cluster import ClusterEngines
from api.day.recognising import DayEngines
from api.intake.pooled import PooledEngines
from api.workspace import Workspace
from capture.speech.audio import RATE, Recording
from fixtures.afternoon.make_memos import encode
from tests.api.day.afternoon import proposed
from tests.benchmarks.day.renderings import Rendering, spoilt
from tests.benchmarks.day.score import AFTERNOON, jobs_made

BEGUN = dt.datetime.fromisoformat("2026-11-25T06:00:00+01:00")
ROUNDS = 3
"""Afternoons of twenty minutes in a recording of an hour."""

EVERY_S = 1.0
"""How often memory is looked at, s."""


@dataclass
class Cost:
    """What a run took, of this process and of all that it started.

    Attributes:
        wall_s: By the clock.
        processor_s: Of all processes, s.
        main_mb: Most that this process held, MB (resident).
        all_mb: Most that all processes held at a time, MB, shared memory counted once (PSS).
    """

    wall_s: float = 0.0
    processor_s: float = 0.0
    main_mb: float = 0.0
    all_mb: float = 0.0
    _used: dict[int, float] = field(default_factory=dict, repr=False)


class Watch:
    """Looks at processor time and memory while something runs."""

    def __init__(self) -> None:
        self.cost, self._ended = Cost(), threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Watch:
        self._begun = time.monotonic()
        self._before = self._used()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()
        self.cost.wall_s = time.monotonic() - self._begun
        used = {**self.cost._used, **self._used()}
        self.cost.processor_s = sum(spent - self._before.get(pid, 0.0) for pid, spent in used.items())

    @staticmethod
    def _processes() -> list[psutil.Process]:
        own = psutil.Process()
        return [own, *own.children(recursive=True)]

    def _used(self) -> dict[int, float]:
        found = {}
        for process in self._processes():
            with suppress(psutil.Error):
                times = process.cpu_times()
                found[process.pid] = times.user + times.system
        return found

    def _look(self) -> None:
        while not self._ended.wait(EVERY_S):
            total, own = 0.0, os.getpid()
            for process in self._processes():
                with suppress(psutil.Error):
                    memory = process.memory_full_info()
                    total += memory.pss / 1e6
                    if process.pid == own:
                        self.cost.main_mb = max(self.cost.main_mb, memory.rss / 1e6)
            self.cost.all_mb = max(self.cost.all_mb, total)
            self.cost._used.update(self._used())


def made(folder: Path, hours: float, photos: int) -> Path:
    """Lay hours of memos and so many photos into a folder."""
    folder.mkdir()
    truth = json.loads((AFTERNOON / "truth.json").read_text("utf-8"))
    sounds = []
    for memo in truth["memos"]:
        with (AFTERNOON / "files" / memo["file"]).open("rb") as file:
            sounds.append(np.frombuffer(b"".join(Recording(file).blocks()), "<i2").astype(np.float64))
    rounds = max(1, round(ROUNDS * hours))
    wanted = {round(i * rounds * len(truth["photos"]) / photos) for i in range(photos)}
    number = 0
    for first in range(0, rounds, ROUNDS):
        began, length = BEGUN + dt.timedelta(hours=first / ROUNDS), 0.0
        parts: list[NDArray[np.int16]] = []
        for here in range(first, min(first + ROUNDS, rounds)):
            for memo, sound in zip(truth["memos"], sounds, strict=True):
                parts.append(spoilt(sound, Rendering(20, 5000 + here), len(parts)).astype(np.int16))
                start = dt.datetime.fromisoformat(memo["start"])
                for entry in truth["photos"]:
                    after = (dt.datetime.fromisoformat(entry["taken"]) - start).total_seconds()
                    if 0 <= after <= len(sound) / RATE:
                        if number in wanted:
                            _photo(folder, entry["file"], number, began + dt.timedelta(seconds=length + after))
                        number += 1
                length += len(sound) / RATE
        encode(np.concatenate(parts), folder / f"hour{first // ROUNDS + 1}.m4a", began)
    return folder


def _photo(folder: Path, name: str, number: int, taken: dt.datetime) -> None:
    picture = Image.open(AFTERNOON / "files" / name)
    pixels = np.asarray(picture.convert("RGB"), np.float64)
    noise = np.random.default_rng(number).normal(size=pixels.shape)
    exif = picture.getexif()
    exif.get_ifd(0x8769)[0x9003] = taken.strftime("%Y:%m:%d %H:%M:%S")
    out = io.BytesIO()
    fresh = Image.fromarray(np.clip(pixels + noise, 0, 255).astype(np.uint8))
    fresh.save(out, "JPEG", quality=85, exif=exif.tobytes())
    (folder / f"IMG_{number:04}.jpg").write_bytes(out.getvalue())


def taken(data: Path, files: Path, engines: DayEngines, workers: int) -> tuple[DayOutcome, Cost, list[dict[str, Any]]]:
    """Take the files in; returns what became of them, what it took, and what is proposed."""
    workspace = Workspace.open(data)  # its own engines load at first use, which never comes: the day is given others
    try:
        jobs_made(workspace)
        with Watch() as watch:
            outcome = take_day(workspace, [files], DayWishes(), workers=workers, engines=engines)
        Console(width=170).print(f"{files.name}: {watch.cost}")  # at once: the next run may take hours
        return outcome, watch.cost, [one for job in ("J1", "J2", "J3") for one in proposed(workspace, job)]
    finally:
        workspace.close()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.day.hours", description=__doc__)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--photos", type=int, default=500)
    parser.add_argument("--workers", type=int, default=None)
    parser.add_argument("--cluster", action="store_true", help="two local workers of a cluster besides")
    given = parser.parse_args()
    console = Console(width=170)
    table = Table(
        "by", "memos", "photos", "values", "untaken", "wall", "processor", "most memory, this process", "all together",
        title=f"{given.hours:g} h and {given.photos} photos; {os.cpu_count()} cores, load {os.getloadavg()[0]:.0f}",
    )  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        files = made(Path(place) / "files", given.hours, given.photos)
        results = []
        with closing(PooledEngines(count=given.workers)) as near:
            count = len(near.pool.workers)
            results.append((f"{count} processes", *taken(Path(place) / "here", files, near, count)))
        if given.cluster:
            from distributed import LocalCluster

            with (
                LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
                closing(ClusterEngines(cluster.scheduler_address)) as far,
            ):
                results.append(("2 cluster workers", *taken(Path(place) / "far", files, far, 2 * far.workers)))
        for name, outcome, cost, _ in results:
            counts = outcome.counts
            table.add_row(
                name, str(counts["memos"]), str(counts["photos"]), str(counts["values"]), str(len(outcome.untaken)),
                f"{cost.wall_s:.0f} s", f"{cost.processor_s:.0f} s", f"{cost.main_mb:.0f} MB", f"{cost.all_mb:.0f} MB",
            )  # fmt: skip
            for one in outcome.untaken[:5]:
                console.print(f"{name}: {one.path.name}: {one.problem}")
    console.print(table)
    if len(results) == 2:
        console.print("The same is proposed." if results[0][3] == results[1][3] else "What is proposed DIFFERS.")


if __name__ == "__main__":
    main()
