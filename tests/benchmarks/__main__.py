"""Every benchmark, one table after the other: `python -m tests.benchmarks`."""

from __future__ import annotations

import subprocess
import sys

BENCHMARKS = ("demo", "speech", "display", "hostile", "grading", "grading.growth", "ledger", "load")


def main() -> int:
    """Run each in a process of its own; the exit status counts the failures."""
    commands = [[sys.executable, "-m", f"tests.benchmarks.{name}"] for name in BENCHMARKS]
    return sum(subprocess.run(command, check=False).returncode != 0 for command in commands)


if __name__ == "__main__":
    sys.exit(main())
