"""Simulate visits and score grading: `python -m tests.grading.simulation [--visits N] [--seed S] [--processes P]`.

Prints a table, also where it is interrupted (Ctrl-C), of the visits until then. Ends with 1 where a fault passed as
sound, a sound circuit was condemned, or grading ended with a trace.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from tests.grading.simulation.cases import case_data
from tests.grading.simulation.planning import effort_table, efforts
from tests.grading.simulation.score import FALSE_ALARM, FALSE_CLEAN, TRACE, Outcome, Score, grade, run, table
from tests.grading.simulation.visit import draw_visit

SPAN = 1_000_000_000
"""Seeds of visits lie in a block of their own for each seed given."""


def main(arguments: list[str] | None = None) -> int:
    """Run as asked; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.grading.simulation", description=__doc__)
    parser.add_argument("--visits", type=int, default=1000, help="how many")
    parser.add_argument("--seed", type=int, default=1, help="of the drawing")
    parser.add_argument("--processes", type=int, default=1, help="how many at once")
    parser.add_argument(
        "--failures", type=Path, help="a folder for one JSON file for each visit in which something is wrong"
    )
    parser.add_argument("--most", type=int, default=20, help="files for each kind of failure")
    parser.add_argument("--plans", type=int, default=200, help="faulty axes on which the plan is followed")
    asked = parser.parse_args(arguments)
    score, written = Score(), Counter[str]()
    begun = time.monotonic()
    try:
        for part, failed in _parts(asked.visits, asked.seed, asked.processes):
            score.merge(part)
            for outcome in failed:
                if asked.failures is not None:
                    _write(asked.failures, outcome, written, asked.most)
            if score.visits % 2000 < 250:
                print(f"{score.visits} of {asked.visits} visits after {time.monotonic() - begun:.0f} s", flush=True)
    except KeyboardInterrupt:
        print(f"Interrupted after {score.visits} of {asked.visits} visits; the table is of those.", flush=True)
    print(table(score, asked.seed))
    if asked.plans:
        print()
        print(effort_table(efforts(asked.seed * SPAN, asked.plans)))
    return any(score.failures[kind] for kind in (FALSE_CLEAN, FALSE_ALARM, TRACE))


def _parts(visits: int, seed: int, processes: int) -> Iterator[tuple[Score, list[Outcome]]]:
    first = seed * SPAN
    blocks = [range(first + start, first + min(start + 250, visits)) for start in range(0, visits, 250)]
    if processes == 1:
        yield from map(run, blocks)
        return
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        yield from pool.imap_unordered(run, blocks)


def _write(folder: Path, outcome: Outcome, written: Counter[str], most: int) -> None:
    kind = outcome.failures[0]
    written[kind] += 1
    if written[kind] > most:
        return
    visit = draw_visit(outcome.seed)
    verdict = None if outcome.trace else grade(visit)
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{kind.replace(' ', '_').replace(',', '')}_{outcome.seed}.json"
    (folder / name).write_text(json.dumps(case_data(visit, outcome, verdict), indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    sys.exit(main())
