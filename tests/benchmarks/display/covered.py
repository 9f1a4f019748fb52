"""What the judgement of covers stops: right readings where nothing lies over a digit, and any where something does.

    python -m tests.benchmarks.display.covered                          100 pictures a set
    python -m tests.benchmarks.display.covered --photos 300 --real FOLDER

Sets: rendered photos of styles seen and unseen by the training, and crops, with nothing laid over; rendered photos with
a cover that no training drew; the demo photos with an oval over their first or last digit (in three colours, from three
heights); real pictures of a folder whose line in `manifest.jsonl` says "fit". Counted are readings that would be
accepted if nothing were judged to lie over them, by our own reader alone.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from PIL import Image
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.display import looks as looking
from capture.display import see
from capture.display.acceptance import decide
from capture.display.picture import open_picture
from capture.display.pyramid import ImagePyramid, Pixels
from capture.display.second_opinion.words import same_number
from fixtures.training.display_model.asked import fingers
from fixtures.training.displays import covers, sampling
from fixtures.training.displays.faces import TRAINING_STYLES, UNSEEN_STYLES
from fixtures.training.displays.photo import staged
from tests.benchmarks.display import sets
from tests.benchmarks.display.cases import Case
from tests.benchmarks.display.text import canonical

FIRST = 570_000
"""First seed of the photos with covers that were held back."""
LIFTS = (0.0, 0.35, -0.2)
"""How far above the digit's middle the oval over a demo photo begins, as a share of the digit's height."""


@dataclass(frozen=True)
class Reading:
    """One reading that would be accepted if nothing were judged to lie over it.

    Attributes:
        right: It is what the display shows.
        stopped: It is refused because something is judged to lie over it.
    """

    right: bool
    stopped: bool


def readings(pixels: Pixels, shown: Sequence[str], *, marked: bool = False) -> Iterator[Reading]:
    """Read a picture and yield the readings that count."""
    photo = ImagePyramid(pixels)
    for place, score in see.displays_in(photo, crop=marked):
        quad, looks = looking.look_at(photo, place, marked=marked)
        evidence = looking.evidence_of(photo, quad, looks, marked=marked, found=score)
        if decide(replace(evidence, hidden=0.0)).accepted:
            right = any(same_number(evidence.fields.text, one) for one in shown if one)
            yield Reading(right, not decide(evidence).accepted)


def of_cases(cases: Iterable[Case]) -> Iterator[Reading]:
    """Yield the readings of pictures over which nothing lies."""
    for case in cases:
        yield from readings(open_picture(case.data).pixels, [s.main for s in case.shown], marked=case.crop)


def held_back(count: int) -> Iterator[Reading]:
    """Yield the readings of rendered photos with a cover over a digit that no training drew."""
    for seed in track(range(FIRST, FIRST + count), "held-back covers"):
        rng = np.random.default_rng([seed, 12])
        styles = TRAINING_STYLES if seed % 2 else UNSEEN_STYLES
        spec = sampling.description(
            seed, styles=styles, hardness=float(rng.uniform(0, 0.4)), negatives=0.0, share=(0.35, 0.6), size=(1000, 750)
        )
        spec.pop("also", None)
        spec["spoil"] = {k: v for k, v in spec["spoil"].items() if k not in ("glare", "hand", "cut", "stamp", "blur")}
        stage = staged(spec)
        quads = sorted((q for name, q in stage.marks("main") if name not in "<>-.:"), key=lambda q: q[:, 0].mean())
        if not quads:
            continue
        quad = quads[int(rng.choice([0, -1])) if rng.random() < 0.6 else int(rng.integers(len(quads)))]
        across, down = quad[1] - quad[0], quad[3] - quad[0]
        x, y = quad.mean(0) + across * rng.uniform(-0.5, 0.5) + down * rng.uniform(-0.4, 0.5)
        make = covers.HELD_BACK[int(rng.integers(len(covers.HELD_BACK)))]
        ground = np.asarray(stage.ground, np.float32)
        laid = make(ground.shape[:2], (float(x), float(y)), float(np.linalg.norm(down)), rng).over(ground)
        taken = stage.taken(Image.fromarray(laid.clip(0, 255).astype(np.uint8)), spec["spoil"], rng)
        yield from readings(np.asarray(taken), [canonical(str(spec["shows"]["main"]))])


def drawn_over() -> Iterator[Reading]:
    """Yield the readings of demo photos with an oval over a digit."""
    for lift in LIFTS:
        for _, _, data, shown in fingers(lift):
            yield from readings(open_picture(data).pixels, shown)


def row(table: Table, name: str, found: Iterable[Reading]) -> None:
    """Count a set's readings into a row."""
    every = list(found)
    right, wrong = [r for r in every if r.right], [r for r in every if not r.right]
    cells = (f"{sum(r.stopped for r in some)} of {len(some)}" for some in (right, wrong))
    table.add_row(name, *cells, str(sum(not r.stopped for r in wrong)))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.display.covered", description=__doc__)
    parser.add_argument("--photos", type=int, default=100, help="rendered pictures of each set")
    parser.add_argument("--real", type=Path, metavar="FOLDER", help="real pictures with manifest.jsonl")
    given = parser.parse_args()
    table = Table("pictures", "right stopped", "wrong stopped", "wrong passed", title="What lies over the digits")
    for group in ("seen", "unseen", "crops"):
        row(table, f"{group}, nothing over them", of_cases(sets.rendered(group, given.photos)))
    row(table, "a cover held back from the training", held_back(given.photos))
    row(table, "demo photos with an oval over a digit", drawn_over())
    if given.real is not None:
        row(table, "open real photos, fit half", of_cases(sets.opened(given.real, "fit")))
    Console().print(table)


if __name__ == "__main__":
    main()
