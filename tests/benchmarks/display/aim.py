"""The finder of the camera's view on rendered frames: corners, hints held against the photo itself, time and size.

    python -m tests.benchmarks.display.aim                  40 photos of each set, brought to a frame's size
    python -m tests.benchmarks.display.aim --photos 120     the figures of the guide

Sets: `seen` and `unseen` as in `tests.benchmarks.display`, `nothing` without a display, and `far`: unseen instruments
whose display is 5 to 30 % as wide as a picture of 1920 x 1080. Corners count as hit where they lie on average within
5 % (10 %) of the display's diagonal of those that the renderer drew; which of the corners is the first does not count.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.display import geometry, see_photo
from capture.display.aim import Aim, Hint, aim_of
from capture.display.picture import open_picture
from fixtures.training.display_model import stock
from fixtures.training.displays import sampling
from fixtures.training.displays.faces import UNSEEN_STYLES
from fixtures.training.displays.photo import render, to_jpeg
from tests.benchmarks.display import sets

LONGEST, QUALITY = 768, 70
"""Of the page's frames (`api/server/web/finder.js`)."""
FAR_SEED = 565_000
SETS = ("unseen", "seen", "far", "nothing")


@dataclass(frozen=True)
class Answer:
    """One frame with its truth.

    Attributes:
        aim: What the finder said.
        off: Distance of the corners from the nearest display's, as a share of its diagonal; None without either.
        shown: A display is there.
        accepted: The same picture is accepted as a photo.
        seconds: Processor time from the frame's bytes to the answer.
        size: Of the frame, bytes.
    """

    aim: Aim
    off: float | None
    shown: bool
    accepted: bool
    seconds: float
    size: int


def photos(group: str, count: int) -> Iterator[tuple[bytes, list[geometry.Quad]]]:
    """Render a set: photos with the corners of their displays, px."""
    if group != "far":
        for picture in stock.pictures(sets.wishes(group, count), workers=1):
            yield picture.data, [truth.quad for truth in picture.truths]
        return
    for seed in range(FAR_SEED, FAR_SEED + count):
        spec = sampling.description(
            seed, styles=UNSEEN_STYLES, negatives=0.0, hardness=0.3, share=(0.05, 0.3), size=(1920, 1080)
        )
        spec.pop("also", None)
        spec["spoil"].pop("cut", None)
        made = render(spec)
        yield to_jpeg(made, spec), [made.displays[0].quad]


def ask(data: bytes, truths: list[geometry.Quad]) -> Answer:
    """Bring a photo to a frame's size and ask the finder about it."""
    pixels = open_picture(data).pixels
    height, width = pixels.shape[:2]
    scale = LONGEST / max(height, width)
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    done, frame = cv2.imencode(".jpg", small[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    assert done
    begun = time.process_time()
    aim = aim_of(frame.tobytes(), width)
    seconds = time.process_time() - begun
    corners = np.array(aim.corners).reshape(-1, 2) * [width, height]
    off = min((_off(corners, truth) for truth in truths), default=None) if len(corners) else None
    seen = see_photo(data)
    accepted = bool(seen.displays) and seen.displays[0].accepted
    return Answer(aim, off, bool(truths), accepted, seconds, len(frame))


def _off(corners: geometry.Quad, truth: geometry.Quad) -> float:
    diagonal = float(np.hypot(*geometry.sides(truth)))
    return min(float(np.linalg.norm(np.roll(corners, k, 0) - truth, axis=1).mean()) for k in range(4)) / diagonal


def row(group: str, answers: list[Answer]) -> list[str]:
    """Give a line of the table."""
    there = [one for one in answers if one.shown]
    off = [np.inf if one.off is None else one.off for one in there]
    good = [one for one in answers if one.aim.hint is Hint.GOOD]
    times = [1000 * one.seconds for one in answers]
    sizes = [one.size / 1000 for one in answers]
    return [
        group,
        str(len(answers)),
        f"{sum(v < 0.05 for v in off)} / {sum(v < 0.1 for v in off)} of {len(there)}",
        f"{100 * statistics.median(off):.1f} %" if off else "–",
        str(len(good)),
        f"{sum(one.accepted for one in good)} of {sum(one.accepted for one in answers)}",
        f"{statistics.median(times):.0f} / {np.percentile(times, 95):.0f}",
        f"{statistics.median(sizes):.0f} / {max(sizes):.0f}",
    ]


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=40, help="photos a set")
    parser.add_argument("--sets", nargs="*", choices=SETS, default=list(SETS), help="which sets (all)")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    aim_of(cv2.imencode(".jpg", np.zeros((432, 768, 3), np.uint8))[1].tobytes(), 1920)  # loads the networks
    names = ("set", "frames", "corners within 5 / 10 %", "off, median", "good", "of these accepted as photos",
             "processor ms, median / p95", "kB, median / most")  # fmt: skip
    table = Table(*names, title="The finder of the camera's view")
    for group in given.sets:
        made = track(photos(group, given.photos), group, total=given.photos)
        table.add_row(*row(group, [ask(data, truths) for data, truths in made]))
    Console(width=170).print(table)


if __name__ == "__main__":
    main()
