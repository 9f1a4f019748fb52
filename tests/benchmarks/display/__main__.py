"""Measures the display reader on pictures with known content, beside general text readers on the same pictures.

    python -m tests.benchmarks.display                            demo photos and 40 rendered ones of each set: minutes
    python -m tests.benchmarks.display --photos 400 --peers 60    the figures of the model card
    python -m tests.benchmarks.display --digits FOLDER            pictures of single digits, folder = digit (11 = blank)
    python -m tests.benchmarks.display --folder FOLDER --labels FILE.csv [--crop]     real pictures: file,text[,unit]
    python -m tests.benchmarks.display --open FOLDER [--use fit] [--peers N]          open real pictures with a manifest

Rendered sets, all by fixed seeds that neither training nor calibration draws from: `seen` (styles that the training
had), `unseen` (styles that it never had), `nothing` (no display), `crops` (nothing but the row of digits), `wild`
(unseen styles with looks and troubles far beyond the usual). Gradings 1 (clean) to 5 (bad) take turns. "Legible" is
what the renderer says a careful eye can read; only such pictures count for "exact" (digits, point, sign and unit,
nothing asked) and "digits and point". "Wrong" counts every accepted reading that says what no display in the picture
shows, legible or not; a unit that is asked for is not claimed.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import cv2
import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from tests.benchmarks.display import bands, cost, curve, failures, sets, tables
from tests.benchmarks.display.cases import Case
from tests.benchmarks.display.measure import Outcome, ask, own, reasons
from tests.benchmarks.display.readers import ALONE, OURS, PEERS

GROUPS = tuple(sets.FIRST)
CONSOLE = Console(width=190)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks.display", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=40, help="rendered photos a set (half as many crops, nothings)")
    parser.add_argument("--sets", nargs="*", choices=GROUPS, default=list(GROUPS), help="rendered sets (all)")
    parser.add_argument("--peers", type=int, default=0, metavar="N", help="peers on the first N pictures of each set")
    parser.add_argument("--peer", nargs="*", choices=list(PEERS), default=list(PEERS), help="which peers (all)")
    parser.add_argument("--by-set", action="store_true", help="the comparison with peers by set as well")
    parser.add_argument("--large", type=int, default=6, metavar="N", help="photos of 12 megapixels for time and memory")
    parser.add_argument("--workers", type=int, default=1, help="processes that render and read, each on one thread")
    parser.add_argument("--digits", type=Path, metavar="FOLDER", help="pictures of single digits")
    parser.add_argument("--folder", type=Path, help="real pictures")
    parser.add_argument("--labels", type=Path, help="CSV file,text[,unit]; FOLDER/labels.csv if left out")
    parser.add_argument("--open", type=Path, metavar="FOLDER", help="open real pictures: FOLDER/manifest.jsonl")
    parser.add_argument("--use", default="fit", help="which lines of the manifest (fit)")
    parser.add_argument("--crop", action="store_true", help="the real pictures show nothing but the display")
    parser.add_argument("--curve", type=Path, metavar="PNG", help="draw risk against coverage")
    parser.add_argument("--bands", type=Path, metavar="PNG", help="draw certainty as told against how many are right")
    parser.add_argument("--failures", type=Path, metavar="FOLDER", help="write what failed, and a sheet of it")
    parser.add_argument("--notes", action="store_true", help="list every failure")
    return parser.parse_args()


def _cases(given: argparse.Namespace) -> list[Case]:
    """Yield every picture asked for; real ones only, where a folder is given."""
    if given.digits or given.folder or given.open:
        cases = [] if given.open is None else sets.opened(given.open, given.use)
        if given.digits:
            single = sets.digits(given.digits)
            cases += single + sets.tiled(single)
        if given.folder:
            cases += sets.labelled(given.folder, given.labels or given.folder / "labels.csv", crop=given.crop)
        return cases
    cases = list(sets.demo()) if sets.TRUTH.is_file() else []
    for group in given.sets:
        count = given.photos if group in ("seen", "unseen") else (given.photos + 1) // 2
        made = sets.rendered(group, count, workers=given.workers)
        cases += track(made, f"rendering {group}", total=count, console=CONSOLE)
    return cases


def _asked(cases: Sequence[Case], name: str) -> Iterable[Case]:
    return track(cases, name, total=len(cases), console=CONSOLE)


def _compare(cases: list[Case], ours: list[Outcome], given: argparse.Namespace) -> dict[str, list[Outcome]]:
    """Run peers beside ours on the first pictures of each set, in this run."""
    some: list[Case] = []
    for group in dict.fromkeys(case.group for case in cases):
        some += [case for case in cases if case.group == group][: given.peers]
    names = {case.name for case in some}
    readers = {OURS.name: [o for o in ours if o.case.name in names]}
    if given.open:
        readers[ALONE.name] = ask(ALONE, _asked(some, ALONE.name))
    # where the main string stands in a real picture nobody has marked, so nothing can be cut out
    for key in (key for key in given.peer if not (given.open and key.endswith("-cut"))):
        reader = PEERS[key]()
        readers[reader.name] = ask(reader, _asked(some, reader.name))
    CONSOLE.print(tables.beside(f"the first {given.peers} pictures of each set", readers))
    for group in dict.fromkeys(case.group for case in some) if given.by_set else ():
        part = {name: [o for o in outcomes if o.case.group == group] for name, outcomes in readers.items()}
        CONSOLE.print(tables.beside(f"of these, {group}", part))
    if given.open:
        CONSOLE.print(tables.real(f"open real pictures, {given.use!r}", readers))
    CONSOLE.print(tables.ratios(readers, OURS.name))
    return readers


def _large(count: int, peers: Sequence[str]) -> None:
    table = Table(title=f"{count} photos of 12 megapixels on one core, JPEG file to answer")
    for name in ("reader", "wall s p50 / p95", "CPU s p50 / p95", "memory MiB", "program started MiB"):
        table.add_column(name, justify="left" if name == "reader" else "right")
    with cost.large_photos(count) as files:
        for name in ("ohmtrail", *(p for p in peers if not p.endswith("-cut"))):
            spent = cost.cost(name, files)
            table.add_row(name, tables.seconds(spent.wall), tables.seconds(spent.cpu), f"{spent.peak:.0f}",
                          f"{spent.peak_started:.0f}" if spent.peak_started > spent.peak else "–")  # fmt: skip
    CONSOLE.print(table)


def _shown(ours: list[Outcome], given: argparse.Namespace) -> None:
    """Print the tables of our own reader."""
    CONSOLE.print(tables.grouped("Ohmtrail by set", ours, lambda o: o.case.group))
    graded = [o for o in ours if o.case.grade and o.case.group in ("seen", "unseen", "wild")]
    if graded:
        CONSOLE.print(tables.grouped("by grading", graded, lambda o: f"{o.case.group}, grading {o.case.grade}"))
        CONSOLE.print(tables.grouped("by style", graded, lambda o: f"{o.case.group}: {o.case.style}"))
    why: Counter[str] = reasons(ours)
    for reason, count in why.most_common(12):
        CONSOLE.print(f"{count:5d} x refused though legible: {reason}", highlight=False)
    times = [o.spent for o in ours]
    CONSOLE.print(
        f"time a picture, one thread: wall {tables.seconds([t.wall for t in times])} s, "
        f"CPU {tables.seconds([t.cpu for t in times])} s (median / p95)"
    )
    if given.notes:
        for outcome in failures.failed(ours):
            CONSOLE.print(f"{failures.verdict(outcome)}: {failures.note(outcome)}", highlight=False, soft_wrap=True)


def main() -> None:
    """Measure and print."""
    given = _arguments()
    cv2.setNumThreads(1)
    np.seterr(all="ignore")
    if given.peers:
        PEERS[given.peer[0]]()  # says at once what is not installed
    cases = _cases(given)
    ours = list(track(own(cases, given.workers), OURS.name, total=len(cases), console=CONSOLE))
    _shown(ours, given)
    readers = _compare(cases, ours, given) if given.peers else {OURS.name: ours}
    curves = {OURS.name: curve.curve(ours)} | {
        name: curve.curve(outcomes) for name, outcomes in readers.items() if name != OURS.name
    }
    CONSOLE.print(curve.table(curves))
    CONSOLE.print(bands.table({name: readers[name] for name in (OURS.name, ALONE.name) if name in readers}))
    if given.curve:
        curve.draw(curves, given.curve)
    if given.bands:
        bands.draw(readers[OURS.name], given.bands)
    if given.failures:
        CONSOLE.print(f"{failures.write(ours, given.failures)} failures written to {given.failures}")
    if given.large and not (given.digits or given.folder or given.open):
        _large(given.large, given.peer if given.peers else ())


if __name__ == "__main__":
    main()
