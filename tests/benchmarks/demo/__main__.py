"""Measures the demo as a person runs it: `python -m tests.benchmarks.demo [--runs 3]`.

Each run is a fresh process on a fresh data folder; peak memory is the process's own high-water mark. Prints what each
step of the visit became, so that a change of the records is seen beside the times.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table


@dataclass(frozen=True)
class Run:
    """One run: seconds on the wall and on the processors, peak memory in MiB, and the counts it printed."""

    wall_s: float
    cpu_s: float
    peak_mib: float
    counts: str


def run() -> Run:
    """Run the demo once.

    Raises:
        RuntimeError: It failed; the message is what it printed.
    """
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile("w+") as printed:
        started = time.perf_counter()
        command = [str(Path(sys.executable).with_name("ohmtrail")), "demo", "--data", folder]
        process = subprocess.Popen(
            command, stdout=printed, stderr=subprocess.STDOUT, env={**os.environ, "COLUMNS": "200"}
        )
        _, status, used = os.wait4(process.pid, 0)
        wall = time.perf_counter() - started
        process.returncode = os.waitstatus_to_exitcode(status)
        printed.seek(0)
        output = printed.read()
        if process.returncode != 0:
            raise RuntimeError(output)
    counts = next((line for line in output.splitlines() if " clips" in line), "")
    return Run(wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, counts)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--runs", type=int, default=3)
    runs = [run() for _ in track(range(parser.parse_args().runs), "Running the demo")]
    table = Table(title="Demo: set up already, data folder fresh")
    for name in ("", "median", "least", "most"):
        table.add_column(name, justify="right" if name else "left")
    rows = {
        "wall time, s": [one.wall_s for one in runs],
        "processor time, s": [one.cpu_s for one in runs],
        "peak memory, MiB": [one.peak_mib for one in runs],
    }
    for name, figures in rows.items():
        table.add_row(name, *(f"{figure:.1f}" for figure in (statistics.median(figures), min(figures), max(figures))))
    console = Console()
    console.print(table)
    console.print(runs[-1].counts)


if __name__ == "__main__":
    main()
