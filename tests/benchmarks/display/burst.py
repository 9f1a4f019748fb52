"""What a burst gains over a single photo: rendered bursts of one display, each frame spoiled by its own seed.

    python -m tests.benchmarks.display.burst                 24 bursts of 5 frames
    python -m tests.benchmarks.display.burst --bursts 60 --frames 4 --hardness 0.6

"The sharpest" is the photo whose display has the strongest edges, as the page chooses it (`api/server/web/shots.js`),
read alone. "right" counts value, point and sign, and the unit where the reader claims it; a unit still to be said is
not wrong.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.display import see_burst, see_photo
from capture.display.finder import glance
from capture.display.picture import open_picture
from capture.display.strings import parse_main
from capture.reading import DisplayReading, Doubt, Seen
from fixtures.training.displays import sampling
from fixtures.training.displays.photo import render, to_jpeg


@dataclass
class Line:
    """One line of the table."""

    counts: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0  # of processor, in all


def shot(seed: int, frames: int, hardness: float) -> tuple[dict[str, Any], list[bytes]]:
    """Make a burst: one display and place, other trouble in every frame; the description of the first frame."""
    spec = sampling.description(seed, negatives=0.0, hardness=hardness, share=(0.2, 0.6))
    spec.pop("also", None)
    spec["spoil"].pop("cut", None)
    files = []
    for index in range(frames):
        rng = np.random.default_rng([seed, index, 5])
        spoil = sampling.spoil(rng, hardness)
        keep = {name: spec["spoil"][name] for name in ("share", "at", "turn") if name in spec["spoil"]}
        one = {**spec, "spoil": {**spoil, **keep}}
        files.append(to_jpeg(render(one), one))
    return spec, files


def edges(data: bytes) -> float:
    """Measure how sharp the display in a photo is: mean strength of its edges in green, levels of 255."""
    pixels = open_picture(data).pixels
    found = glance(pixels)
    if not found:
        return 0.0
    (x0, y0), (x1, y1) = (np.maximum(found[0].quad.min(0), 0).astype(int), found[0].quad.max(0).astype(int))
    green = pixels[y0 : max(y0 + 3, y1), x0 : max(x0 + 3, x1), 1]
    return float(np.abs(cv2.Laplacian(green, cv2.CV_32F)).mean()) if green.size else 0.0


def verdict(seen: Seen, shows: dict[str, Any]) -> str:
    """Tell how a reading stands to what is shown: right, unit to say, refused or wrong."""
    accepted = [display for display in seen.displays if display.accepted]
    if not accepted:
        return "refused"
    return _one(accepted[0], shows)


def _one(display: DisplayReading, shows: dict[str, Any]) -> str:
    want = parse_main(shows.get("main", "").replace("O", "0"), None)
    got = display.quantity
    if want is None or (got.digits, got.qualifier) != (want.digits, want.qualifier):
        return "wrong"
    if {Doubt.UNIT_MISSING, Doubt.UNIT_UNSURE} & set(display.doubts) or got.unit is None:
        return "unit to say"
    return "right" if got.unit == shows.get("unit") else "wrong"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.display.burst", description=__doc__)
    parser.add_argument("--bursts", type=int, default=24)
    parser.add_argument("--frames", type=int, default=5)
    parser.add_argument("--hardness", type=float, default=0.5, help="0 clean .. 1 bad")
    parser.add_argument("--seed", type=int, default=560_000, help="first seed; the training uses 1,000,000 and above")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    single, best, burst = Line(), Line(), Line()
    for seed in track(range(arguments.seed, arguments.seed + arguments.bursts), "bursts"):
        spec, files = shot(seed, arguments.frames, arguments.hardness)
        begun = time.process_time()
        found = see_burst(files)
        burst.seconds += time.process_time() - begun
        sharpest = max(files, key=edges)
        begun = time.process_time()
        best.counts[verdict(see_photo(sharpest), spec["shows"])] += 1
        best.seconds += time.process_time() - begun
        burst.counts[verdict(found.seen, spec["shows"])] += 1
        single.counts.update(verdict(alone, spec["shows"]) for alone in found.frames)
    table = Table("read from", "number", "right", "unit to say", "refused", "wrong", "processor s", title="Bursts")
    several = f"of {arguments.frames}"
    for name, line in (("one photo", single), (f"the sharpest {several}", best), (f"a burst {several}", burst)):
        total = sum(line.counts.values())
        cells = [f"{100 * line.counts[kind] / total:.1f} %" for kind in ("right", "unit to say", "refused", "wrong")]
        table.add_row(name, str(total), *cells, f"{line.seconds / total:.2f}" if line.seconds else "")
    Console().print(table)


if __name__ == "__main__":
    main()
