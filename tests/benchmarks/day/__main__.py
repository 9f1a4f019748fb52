"""Measures the afternoon taken in.

python -m tests.benchmarks.day [--set shown|apart] [--workers N] [--kept FOLDER]  right, missed, invented, joined; cost
python -m tests.benchmarks.day --kills 50                                        killed at random points
python -m tests.benchmarks.day --hostile 500                                     hostile and wrong files among good ones
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from pathlib import Path

from rich.console import Console
from rich.table import Table

from api.day.batch import DayWishes, take_day
from api.day.errors import DayJobUnknown
from api.intake.pooled import PooledEngines
from api.workspace import Workspace
from tests.benchmarks.day import hostile, kills
from tests.benchmarks.day.kept import KeptEngines
from tests.benchmarks.day.renderings import KEPT_APART, SHOWN, Rendering, rendered
from tests.benchmarks.day.score import jobs_made, names_by_hash, scored

COLUMNS = ("right", "right, asked about", "wrong", "wrong, asked about", "missed", "invented", "invented, asked about",
           "photos joined", "photos wrongly joined")  # fmt: skip


def _processor_s(engines: PooledEngines) -> float:
    from api.intake.worker import processor_s

    own = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    workers = sum(processor_s(worker.pid) for worker in engines.pool.workers)
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime + workers


def measured(how: Rendering, workers: int | None, kept: Path | None, console: Console) -> list[str]:
    """Take the afternoon in once and count."""
    with tempfile.TemporaryDirectory() as place:
        files = rendered(Path(place) / "files", how)
        engines = PooledEngines(count=workers)
        asked = engines if kept is None else KeptEngines(engines, kept)
        workspace = Workspace.open(Path(place) / "data", engines=engines)
        try:
            jobs_made(workspace)
            begun, used = time.monotonic(), _processor_s(engines)
            try:
                outcome = take_day(workspace, [files], DayWishes(), workers=len(engines.pool.workers), engines=asked)
            except DayJobUnknown as problem:  # by design: nobody guesses a machine
                console.print(str(problem))
                return [how.name, "asks for the job", *[""] * (len(COLUMNS) + 1)]
            wall, processor = time.monotonic() - begun, _processor_s(engines) - used
            counts = scored(workspace, names_by_hash(files))
        finally:
            workspace.close()
            engines.close()
    console.print(outcome.clocks.sentence(), f"{outcome.counts['passed over']} utterances passed over.")
    return [how.name, *(str(counts[name]) for name in COLUMNS), f"{wall:.0f} s", f"{processor:.0f} s"]


def main() -> None:
    """Print the table that is asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.day", description=__doc__)
    parser.add_argument("--set", choices=["shown", "apart"], default="shown")
    parser.add_argument("--kept", type=Path, default=None, help="keep what is heard and seen here for another run")
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
        "recorded", *COLUMNS, "wall", "processor", title=f"The afternoon: 37 readings, load {os.getloadavg()[0]:.0f}"
    )
    for how in SHOWN if given.set == "shown" else KEPT_APART:
        table.add_row(*measured(how, given.workers, given.kept, console))
    console.print(table)


if __name__ == "__main__":
    main()
