"""Measures the making of reports: `python -m tests.benchmarks.report [--readings 50 1000] [--demo]`.

Each report is made by `ohmtrail report` in a process of its own, from a data folder that is written first: each reading
with a clip of half a second and a photo of 1200 by 900 pixels. Peak memory is the process's own high-water mark.
"""

from __future__ import annotations

import argparse
import os
import string
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import pikepdf
from rich.console import Console
from rich.progress import track
from rich.table import Table

from grading.terms.section import Section
from tests.api.report import visit

PROGRAM = str(Path(sys.executable).with_name("ohmtrail"))
AXES = 20  # a line of machines; fifty readings of an axis lie far above what a visit takes


@dataclass(frozen=True)
class Made:
    """One report: seconds on the wall and on the processor, peak memory in MiB, size in MB, pages of a PDF."""

    wall_s: float
    cpu_s: float
    peak_mib: float
    size_mb: float
    pages: int


def long_visit(folder: Path, readings: int) -> None:
    """Write a visit with so many confirmed readings, spread over some axes."""
    # A letter each: names that cannot be told apart when they are said are refused.
    axes = [*string.ascii_uppercase[: min(AXES, max(1, readings // 10))]]
    described = {**visit.DESCRIPTION, "axes": [{"name": name, "motor_kind": "ac_servo"} for name in axes]}
    made = visit.begin(folder, described)
    visit.answer_safety(made, axes)
    for i in track(range(readings), description=f"Writing {readings} readings"):
        reading = visit.insulation(axes[i % len(axes)], list(Section)[i // len(axes) % 3], f"{50 + i}")
        made.say(reading, 1 + i / 10, words=f"lead to ground {50 + i} megohms", shown=f"{50 + i} MΩ")
    made.workspace.close()


def make(folder: Path, form: str, paper: str, out: Path) -> Made:
    """Make one report in a process of its own.

    Raises:
        RuntimeError: It failed; the message is what it printed.
    """
    started = time.perf_counter()
    command = [PROGRAM, "report", "J1", "--as", form, "--paper", paper, "--data", str(folder), "--out", str(out)]
    with tempfile.TemporaryFile("w+") as printed:
        process = subprocess.Popen(command, stdout=printed, stderr=subprocess.STDOUT)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        printed.seek(0)
        if process.returncode != 0:
            raise RuntimeError(printed.read())
    pages = 0
    if form == "pdf":
        with pikepdf.open(out) as document:
            pages = len(document.pages)
    wall, cpu = time.perf_counter() - started, used.ru_utime + used.ru_stime
    return Made(wall, cpu, used.ru_maxrss / 1024, out.stat().st_size / 1e6, pages)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--readings", type=int, nargs="*", default=[50, 1000])
    parser.add_argument("--demo", action=argparse.BooleanOptionalAction, default=True, help="replay the demo as well")
    given = parser.parse_args()
    table = Table(title="Reports")
    for heading in ("visit", "form", "pages", "MB", "wall s", "processor s", "peak MiB"):
        table.add_column(heading, justify="left" if heading in ("visit", "form") else "right")
    with tempfile.TemporaryDirectory() as room:
        folders = {}
        if given.demo:
            folders["demo"] = Path(room, "demo")
            subprocess.run([PROGRAM, "demo", "--data", str(folders["demo"])], check=True, capture_output=True)
            for copy in folders["demo"].glob("report-*"):
                copy.unlink()
        for readings in given.readings:
            folders[f"{readings} readings"] = Path(room, str(readings))
            long_visit(folders[f"{readings} readings"], readings)
        for name, folder in folders.items():
            for form, paper in (("html", "a4"), ("pdf", "a4"), ("pdf", "letter"), ("short", "a4"), ("csv", "a4")):
                made = make(folder, form, paper, Path(room, f"out.{form}"))
                figures = (f"{made.size_mb:.2f}", f"{made.wall_s:.1f}", f"{made.cpu_s:.1f}", f"{made.peak_mib:.0f}")
                table.add_row(name, f"{form}, {paper}" if made.pages else form, str(made.pages or ""), *figures)
    Console().print(table)


if __name__ == "__main__":
    main()
