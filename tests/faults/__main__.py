"""Make every call of a visit fail in every way: `python -m tests.faults [--points N] [--kinds KIND ...] [--seed S]`.

Prints a table: for each kind of fault and each kind of call how many points were made, and how many of them broke which
law (`tests.faults.laws`). Ends with 1 where any law was broken.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.faults.runner import KINDS, broken, plan, table, workers
from tests.faults.visit import SCENARIOS
from tests.faults.worker import Result

CUTS = 3
"""Folders tried for each call at which power is lost."""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--points", type=int, help="how many points, drawn at random; all of them without")
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS, help="kinds of fault")
    parser.add_argument("--scenarios", nargs="+", choices=[*SCENARIOS], default=[*SCENARIOS], help="what is disturbed")
    parser.add_argument("--seed", type=int, default=0, help="of the drawing")
    parser.add_argument("--cuts", type=int, default=CUTS, help="folders tried for each call at which power is lost")
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--results", type=Path, help="a file for all results, one line of JSON each")
    return parser.parse_args()


def main() -> int:
    """Run as asked; returns the exit status."""
    asked = _arguments()
    results: list[Result] = []
    begun = time.monotonic()
    with workers(asked.workers) as started:
        calls = {name: started.calls(name) for name in asked.scenarios}
        points = plan(calls, asked.kinds, cuts=asked.cuts, most=asked.points, seed=asked.seed)
        print(", ".join(f"{name}: {len(calls[name])} calls" for name in calls), f"; {len(points)} points")
        try:
            for result in started.make(points):
                results.append(result)
                for line in broken(result):
                    print(line, flush=True)
                if asked.results is not None:
                    with asked.results.open("a") as out:
                        print(result.line(), file=out)
                if len(results) % 50 == 0:
                    print(f"{len(results)} of {len(points)} after {time.monotonic() - begun:.0f} s", flush=True)
        except KeyboardInterrupt:
            print("Stopped; what was made until then:")
    print(table(results))
    return any(broken(result) for result in results)


if __name__ == "__main__":
    sys.exit(main())
