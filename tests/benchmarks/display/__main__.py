"""Measures the display reader: value right, refused, wrong, and time, by style.

    python -m tests.benchmarks.display                       demo photos and 120 rendered ones
    python -m tests.benchmarks.display --rendered 1000 --notes
    python -m tests.benchmarks.display --digits FOLDER       pictures of single digits, folder name = digit (11 = blank)
    python -m tests.benchmarks.display --tesseract           Tesseract on the same straightened displays, for comparison

"legible" counts pictures whose value and unit a careful eye can read; only those should be right. Wrong counts every
accepted reading that the picture does not show, legible or not.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from capture.display.picture import open_picture
from capture.display.views import rectified
from fixtures.displays.chance import description
from fixtures.displays.photo import render, to_jpeg
from tests.benchmarks.display.measure import Case, Tally, canonical, demo, digits_folder, rendered, run

TRUTH = Path(__file__).parents[3] / "fixtures" / "truth.json"


def show(title: str, lines: dict[str, Tally]) -> None:
    """Print one table and its totals."""
    table = Table(title=title)
    for name in ("style", "photos", "legible", "right", "refused", "wrong", "small fields", "median s", "p95 s"):
        table.add_column(name, justify="left" if name == "style" else "right")
    total = Tally()
    for style, tally in sorted(lines.items()):
        _row(table, style, tally)
        for name in ("right", "refused", "wrong", "legible", "small_right", "small_all"):
            setattr(total, name, getattr(total, name) + getattr(tally, name))
        total.seconds += tally.seconds
    table.add_section()
    _row(table, "all", total)
    Console().print(table)


def _row(table: Table, style: str, tally: Tally) -> None:
    times = np.array(tally.seconds or [0.0])
    table.add_row(
        style, str(len(tally.seconds)), str(tally.legible), str(tally.right), str(tally.refused), str(tally.wrong),
        f"{tally.small_right}/{tally.small_all}", f"{np.median(times):.2f}", f"{np.percentile(times, 95):.2f}",
    )  # fmt: skip


def tesseract(seeds: range) -> None:
    """Tesseract on the true display area of rendered photos, digits and points only."""
    import pytesseract

    right = wrong = empty = 0
    seconds = []
    for seed in track(seeds, "tesseract"):
        spec = description(seed, negatives=0.0)
        spec.pop("also", None)
        photo = render(spec)
        display = photo.displays[0]
        if not display.legible:
            continue
        pixels = open_picture(to_jpeg(photo, spec)).pixels
        main = np.concatenate([m.quad for m in display.marks if m.part == "main"])
        (x0, y0), (x1, y1) = main.min(0) - 8, main.max(0) + 8
        canvas, _ = rectified(pixels, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), 480, 140, 0.0)
        grey = cv2.cvtColor(canvas, cv2.COLOR_RGB2GRAY)
        _, ink = cv2.threshold(grey, 0, 255, cv2.THRESH_OTSU)
        if np.mean(ink) < 128:
            ink = 255 - ink
        start = time.perf_counter()
        text = pytesseract.image_to_string(ink, config="--psm 7 -c tessedit_char_whitelist=0123456789.-<>L").strip()
        seconds.append(time.perf_counter() - start)
        text = text.replace(" ", "")
        right += text == canonical(display.shows["main"])
        empty += text == ""
        wrong += text not in ("", canonical(display.shows["main"]))
    Console().print(
        f"Tesseract, {len(seconds)} legible displays, main string cut out exactly: right {right}, nothing {empty}, "
        f"wrong {wrong}, median {np.median(seconds):.2f} s"
    )


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.display", description=__doc__)
    parser.add_argument("--rendered", type=int, default=120, help="number of rendered photos")
    parser.add_argument("--seed", type=int, default=500_000, help="first seed; the training uses 1,000,000 and above")
    parser.add_argument("--digits", type=Path, help="folder of single-digit pictures")
    parser.add_argument("--tesseract", action="store_true")
    parser.add_argument("--notes", action="store_true", help="list every wrong and every refused legible picture")
    arguments = parser.parse_args()
    seeds = range(arguments.seed, arguments.seed + arguments.rendered)
    for title, cases, count in _sets(seeds):
        lines = run(iter(track(cases, title, total=count)))
        show(title, lines)
        if arguments.notes:
            for tally in lines.values():
                for note in tally.notes:
                    Console().print(note, highlight=False, soft_wrap=True)
    if arguments.tesseract:
        tesseract(seeds)
    if arguments.digits:
        right, refused, wrong, notes = digits_folder(arguments.digits)
        total = right + refused + wrong
        Console().print(f"single digits, {total} pictures: right {right}, refused {refused}, wrong {wrong}")
        if arguments.notes:
            Console().print("\n".join(notes))


def _sets(seeds: range) -> Iterator[tuple[str, Iterator[Case], int]]:
    if TRUTH.exists():
        cases = list(demo(TRUTH))
        yield "demo photos", iter(cases), len(cases)
    if len(seeds):
        yield "rendered photos", rendered(seeds), len(seeds)


if __name__ == "__main__":
    main()
