"""Every benchmark, one table after the other, or some of them: `python -m tests.benchmarks [NAME ...]`."""

from __future__ import annotations

import argparse
import subprocess
import sys

BENCHMARKS = (
    "demo",
    "speech",
    "display",
    "hostile",
    "grading",
    "grading.growth",
    "ledger",
    "load",
    "lan",
    "offline",
    "page",
    "streams",
    "report",
)


def main() -> int:
    """Run each in a process of its own; the exit status counts the failures."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", choices=[*BENCHMARKS, []], default=[], metavar="NAME", help="which")
    names = parser.parse_args().names or BENCHMARKS
    commands = [[sys.executable, "-m", f"tests.benchmarks.{name}"] for name in names]
    return sum(subprocess.run(command, check=False).returncode != 0 for command in commands)


if __name__ == "__main__":
    sys.exit(main())
