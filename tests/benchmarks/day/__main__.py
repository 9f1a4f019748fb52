"""Measures the afternoon taken in.

python -m tests.benchmarks.day [--snr 24 20 10] [--workers N] [--limit S]      right, missed, invented, joined; cost
python -m tests.benchmarks.day --kills 50                                        killed at random points
python -m tests.benchmarks.day --hostile 500                                     hostile and wrong files among good ones
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from api.day.batch import DayWishes, take_day
from api.intake.pooled import PooledEngines
from api.workspace import Workspace
from capture.speech.audio import RATE, Recording
from fixtures.afternoon.make_memos import SNR_DB, shop_noise
from tests.benchmarks.day import hostile, kills
from tests.benchmarks.day.score import AFTERNOON, jobs_made, names_by_hash, scored

COLUMNS = ("right", "right, asked about", "wrong", "wrong, asked about", "missed", "invented", "photos joined",
           "photos wrongly joined")  # fmt: skip


def in_noise(folder: Path, snr_db: float) -> Path:
    """Copy the afternoon with as much noise added to its memos as brings the voice `snr_db` above it."""
    folder.mkdir()
    truth = json.loads((AFTERNOON / "truth.json").read_text("utf-8"))
    for path in sorted((AFTERNOON / "files").iterdir()):
        memo = next((one for one in truth["memos"] if one["file"] == path.name), None)
        if memo is None or snr_db >= SNR_DB:
            shutil.copy2(path, folder / path.name)
            continue
        with path.open("rb") as file:
            pcm = np.frombuffer(b"".join(Recording(file).blocks()), "<i2").astype(np.float64)
        quiet = float(np.median([pcm[at : at + RATE // 4].std() for at in range(0, len(pcm) - RATE, RATE // 4)]))
        extra = quiet * np.sqrt(10 ** ((SNR_DB - snr_db) / 10) - 1)
        _write(folder / path.name, pcm + extra * shop_noise(len(pcm), 77), path)
    return folder


def _write(path: Path, samples: np.ndarray[tuple[int], np.dtype[np.float64]], like: Path) -> None:
    import datetime as dt

    import av

    from fixtures.afternoon.make_memos import encode

    with av.open(str(like)) as file:
        tags = {**file.streams.audio[0].metadata, **file.metadata}
    began = dt.datetime.fromisoformat(tags.get("creation_time") or tags["CREATION_TIME"])
    encode(np.clip(samples, -32768, 32767).astype(np.int16), path, began)


def _processor_s(engines: PooledEngines) -> float:
    from api.intake.worker import processor_s

    own = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    workers = sum(processor_s(worker.pid) for worker in engines.pool.workers)
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime + workers


def measured(snr_db: float, workers: int | None, console: Console) -> list[str]:
    """Take the afternoon in once and count."""
    with tempfile.TemporaryDirectory() as place:
        files = in_noise(Path(place) / "files", snr_db)
        engines = PooledEngines(count=workers)
        workspace = Workspace.open(Path(place) / "data", engines=engines)
        try:
            jobs_made(workspace)
            begun, used = time.monotonic(), _processor_s(engines)
            outcome = take_day(workspace, [files], DayWishes(), workers=len(engines.pool.workers))
            wall, processor = time.monotonic() - begun, _processor_s(engines) - used
            counts = scored(workspace, names_by_hash(files))
        finally:
            workspace.close()
            engines.close()
    console.print(outcome.clocks.sentence(), f"{outcome.counts['passed over']} utterances passed over.")
    return [f"{snr_db:g} dB", *(str(counts[name]) for name in COLUMNS), f"{wall:.0f} s", f"{processor:.0f} s"]


def main() -> None:
    """Print the table that is asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.day", description=__doc__)
    parser.add_argument("--snr", type=float, nargs="*", default=[SNR_DB, 20.0, 10.0])
    parser.add_argument("--workers", type=int, default=None)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--hostile", type=int, default=0)
    given = parser.parse_args()
    console = Console(width=160)
    if given.kills:
        kills.main(given.kills, console)
        return
    if given.hostile:
        hostile.main(given.hostile, console)
        return
    table = Table(
        "noise", *COLUMNS, "wall", "processor", title=f"The afternoon: 37 readings, load {os.getloadavg()[0]:.0f}"
    )
    for snr_db in given.snr:
        table.add_row(*measured(snr_db, given.workers, console))
    console.print(table)


if __name__ == "__main__":
    main()
