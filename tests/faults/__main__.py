"""Make every call of a visit fail in every way.

    python -m tests.faults [--points N] [--kinds KIND ...] [--processes N] [--journal FILE [--seconds S]]

Prints a table: for each kind of fault and each kind of call how many points were made, and how many of them broke which
law (`tests.faults.laws`). Ends with 1 where any law was broken, with 3 where points are left to make. With a journal a
run goes on where the one before was cut off, by `--seconds` or otherwise.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

from tests.faults.journal import Journal, OtherProgram
from tests.faults.layer import compile_layer
from tests.faults.runner import KINDS, broken, plan, table, workers
from tests.faults.visit import SCENARIOS

CUTS = 3
"""Folders tried for each call at which power is lost."""

TELL_S = 10
"""Between two lines of progress, s."""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.faults", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--points", type=int, help="how many points, drawn at random; all of them without")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, help="kinds of fault")
    parser.add_argument("--scenarios", nargs="+", choices=[*SCENARIOS], default=[*SCENARIOS], help="what is disturbed")
    parser.add_argument("--seed", type=int, default=0, help="of the drawing")
    parser.add_argument("--cuts", type=int, default=CUTS, help="folders tried for each call at which power is lost")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1, help="how many at a time")
    parser.add_argument("--seconds", type=float, help="begin no more points after so many seconds")
    parser.add_argument("--journal", type=Path, help="a file for all results, one line of JSON each, to go on from")
    parser.add_argument("--layer", type=Path, help="the layer compiled before, where there is no C compiler")
    parser.add_argument("--compile", type=Path, metavar="FOLDER", help="only compile the layer into a folder")
    return parser.parse_args()


def main() -> int:
    """Run as asked; returns the exit status."""
    asked = _arguments()
    if asked.compile is not None:
        print(compile_layer(asked.compile))
        return 0
    begun = told = time.monotonic()
    try:
        journal = Journal(asked.journal)
    except OtherProgram as problem:
        print(problem, file=sys.stderr)
        return 2
    with workers(asked.processes, library=asked.layer and asked.layer.resolve()) as started:
        calls = {name: started.calls(name) for name in asked.scenarios}
        points = plan(calls, asked.kinds, cuts=asked.cuts, most=asked.points, seed=asked.seed)
        todo = [point for point in points if point not in journal.results]
        counted = ", ".join(f"{name}: {len(calls[name])} calls" for name in calls)
        print(f"{counted}; {len(points)} points, {len(points) - len(todo)} of them made before", flush=True)
        seconds = None if asked.seconds is None else asked.seconds - (time.monotonic() - begun)
        first = time.monotonic()
        made = violated = 0
        try:
            for result in started.make(todo, seconds):
                journal.add(result)
                made += 1
                for line in broken(result):
                    print(line, flush=True)
                violated += bool(broken(result))
                now = time.monotonic()
                if now - told > TELL_S:
                    told, rate = now, made / (now - first)
                    left = (len(todo) - made) / rate / 60
                    print(
                        f"{len(points) - len(todo) + made} of {len(points)} points, {60 * rate:.0f} a minute,"
                        f" {left:.0f} min left, {violated} broke a law",
                        flush=True,
                    )
        except KeyboardInterrupt:
            print("Stopped; what was made until then:")
        took = time.monotonic() - first
        print(f"{made} points in {took:.0f} s by {asked.processes} processes, {60 * made / took:.0f} a minute")
    results = [journal.results[point] for point in points if point in journal.results]
    for line in [line for result in results for line in broken(result)]:
        print(line)
    print(table(results))
    if len(results) < len(points):
        print(f"{len(points) - len(results)} of {len(points)} points are left to make.")
    return 1 if any(broken(result) for result in results) else 3 if len(results) < len(points) else 0


if __name__ == "__main__":
    sys.exit(main())
