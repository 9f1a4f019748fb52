"""Time and memory of a reader on photos of 12 megapixels, each reader in a process of its own on one core.

`python -m tests.benchmarks.display.cost READER FILE…` measures one of ohmtrail, rapidocr, tesseract; prints JSON.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SIZE = (4000, 3000)
"""12 megapixels."""
FIRST_SEED = 550_000
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OMP_THREAD_LIMIT": "1", "OPENBLAS_NUM_THREADS": "1"}


@dataclass(frozen=True)
class Cost:
    """Seconds by photo, and the largest memory of the process in MiB (and of a program that it starts)."""

    wall: list[float]
    cpu: list[float]
    peak: float
    peak_started: float


@contextmanager
def large_photos(count: int) -> Iterator[list[Path]]:
    """Render photos of 12 megapixels as files, for as long as the context lasts."""
    from fixtures.training.displays.faces import TRAINING_STYLES
    from fixtures.training.displays.photo import render, to_jpeg
    from fixtures.training.displays.sampling import description

    with tempfile.TemporaryDirectory() as folder:
        files = []
        for i in range(count):
            spec: dict[str, Any] = description(FIRST_SEED + i, styles=TRAINING_STYLES, negatives=0.1, size=SIZE)
            files.append(Path(folder) / f"{FIRST_SEED + i}.jpg")
            files[-1].write_bytes(to_jpeg(render(spec), spec))
        yield files


def cost(reader: str, files: list[Path]) -> Cost:
    """Run a reader over files in a process of its own, on one core where the system can hold it there.

    Raises:
        RuntimeError: The process failed; its last words.
    """
    command = [sys.executable, "-m", "tests.benchmarks.display.cost", reader, *map(str, files)]
    done = subprocess.run(
        command, env={**os.environ, **ONE_THREAD}, capture_output=True, text=True, check=False, timeout=3600
    )
    if done.returncode:
        raise RuntimeError(f"{reader}: {done.stderr.strip()[-400:]}")
    return Cost(**json.loads(done.stdout.splitlines()[-1]))


def _peak() -> float:
    """Give this process's largest memory since it started, MiB; `getrusage` would count its parent's too."""
    status = Path("/proc/self/status")
    if status.is_file():
        line = next(part for part in status.read_text().splitlines() if part.startswith("VmHWM"))
        return float(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Measure one reader in this process."""
    name, *files = sys.argv[1:]
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    import cv2

    cv2.setNumThreads(1)
    from tests.benchmarks.display.cases import Case
    from tests.benchmarks.display.readers import OURS, PEERS, clocked

    reader = OURS if name == "ohmtrail" else PEERS[name]()
    wall, cpu = [], []
    cases = [Case(file, "large", "", 0, Path(file).read_bytes()) for file in files]
    reader.read(cases[0])  # loads the models
    for case in cases:
        with clocked() as spent:
            reader.read(case)
        wall.append(round(spent.wall, 4))
        cpu.append(round(spent.cpu, 4))
    peak, started = _peak(), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(json.dumps({"wall": wall, "cpu": cpu, "peak": round(peak, 1), "peak_started": round(started, 1)}))


if __name__ == "__main__":
    main()
