"""What hostile files cost the process that recognises them: processor time and peak memory, worst first.

    python -m tests.benchmarks.hostile [--kinds TEXT] [--most NUMBER]

Every sound is 59 s long: ten seconds of processor mean a sixth of its length. A hundred files are drawn
from seeds.
"""

from __future__ import annotations

import argparse
import io
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from PIL import Image
from rich.console import Console
from rich.progress import track
from rich.table import Table

from api.intake.errors import RecognitionStopped
from api.intake.pooled import PooledEngines
from api.intake.worker import processor_s, resident_bytes
from capture.errors import CaptureError
from capture.reading import Context
from tests.benchmarks.hostile.generated import generated
from tests.benchmarks.hostile.sounds import sounds
from tests.capture.display.hostile import FILES


@dataclass(frozen=True)
class Cost:
    """What one file cost: its size in bytes, the outcome, processor and wall time in s, peak memory in bytes."""

    name: str
    size: int
    outcome: str
    processor_s: float
    wall_s: float
    peak: int


def noise(width: int, height: int, quality: int) -> bytes:
    """Make a photo of nothing."""
    made = Image.effect_noise((width // 8, height // 8), 60).resize((width, height)).convert("RGB")
    out = io.BytesIO()
    made.save(out, "JPEG", quality=quality)
    return out.getvalue()


def pictures() -> dict[str, Callable[[], bytes]]:
    """List the hostile photos of the tests, and the largest ones that are taken in."""
    found = {f"photo: {name}": make for name, (make, _) in FILES.items()}
    for width, height in ((4000, 3000), (8000, 6000), (8660, 5770)):
        for quality in (30, 90):
            name = f"photo: {width} x {height} of noise, quality {quality}"
            found[name] = partial(noise, width, height, quality)
    return found


def cost_of(engines: PooledEngines, name: str, data: bytes) -> Cost:
    """Recognise a file and measure the process meanwhile."""
    worker, done, peak, spent = engines.pool.workers[0], threading.Event(), [0], [0.0]
    pid = worker.pid

    def watch() -> None:
        while not done.wait(0.005):
            peak[0] = max(peak[0], resident_bytes(pid))
            spent[0] = max(spent[0], processor_s(pid))  # a process that was stopped has none any more

    watcher = threading.Thread(target=watch)
    watcher.start()
    begin, used = time.perf_counter(), processor_s(pid)
    try:
        if name.startswith("photo:"):
            outcome = f"{len(engines.see(data).displays)} displays"
        else:
            outcome = f"{len(engines.hear(data, Context()).heard.words)} words"
    except CaptureError as problem:
        outcome = problem.code
    done.set()
    watcher.join()
    used = max(spent[0], processor_s(pid)) - used
    return Cost(name, len(data), outcome, used, time.perf_counter() - begin, peak[0])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="What hostile files cost.")
    parser.add_argument("--kinds", default="", help="only files whose name holds this")
    parser.add_argument("--most", type=int, default=100, help="rows to print")
    chosen = parser.parse_args()
    engines = PooledEngines(count=1)
    cost_of(engines, "its start", b"no sound")
    files = {**sounds(), **pictures(), **generated()}
    wanted = [name for name in files if chosen.kinds in name]
    found = [cost_of(engines, name, files[name]()) for name in track(wanted, "recognising")]
    engines.close()
    table = Table("file", "kB", "outcome", "processor, s", "wall, s", "peak, MB", title=f"{len(found)} hostile files")
    for index in (1, 3, 4, 5):
        table.columns[index].justify = "right"
    for one in sorted(found, key=lambda cost: -cost.processor_s)[: chosen.most]:
        figures = (f"{one.processor_s:.1f}", f"{one.wall_s:.1f}", f"{one.peak / 1e6:.0f}")
        table.add_row(one.name, f"{one.size / 1000:,.1f}", one.outcome, *figures)
    Console(width=120).print(table)
    stopped = sum(one.outcome == RecognitionStopped.code for one in found)
    print(f"{stopped} of {len(found)} were stopped at a limit. Load of the machine: {os.getloadavg()[0]:.1f}.")
    most, peak, total = (
        max(one.processor_s for one in found),
        max(one.peak for one in found) / 1e6,
        sum(one.processor_s for one in found),
    )
    print(f"Most processor time {most:.1f} s, most memory {peak:.0f} MB, all together {total:.0f} s.")


if __name__ == "__main__":
    main()
