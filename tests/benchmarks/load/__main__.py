"""Fifty clients, forty real clips each, against a real server: `python -m tests.benchmarks.load`.

Prints how many captures were acknowledged (stored and synced), how many of those were lost, how long an acknowledgement
took, the server's memory, and how long pages took meanwhile. Recognitions are real and run all the while; `--reading`
says how long the server may go on with them before it is stopped, so the table says how many were read by then.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

from tests.benchmarks.load.driver import Run, measure


def quantile(values: list[float], share: float) -> float:
    """Give the smallest value that at least this share of the values do not exceed; not-a-number of none."""
    ranked = sorted(values)
    return ranked[max(0, -int(-share * len(ranked) // 1) - 1)] if ranked else float("nan")


def rows(run: Run) -> list[tuple[str, str]]:
    """Give what was measured, line by line."""
    took = [one.acknowledged_s for one in run.sent if one.acknowledged_s is not None]
    statuses = sorted({one.status for one in run.sent})
    return [
        ("captures sent", str(len(run.sent))),
        ("acknowledged", f"{len(took)} (answers {', '.join(map(str, statuses))})"),
        ("refused for the moment and sent again", str(dict(run.refused) or 0)),
        ("lost after acknowledgement", str(len(run.lost))),
        *((f"acknowledgement p{int(100 * q)}, s", f"{quantile(took, q):.2f}") for q in (0.5, 0.95, 0.99)),
        ("acknowledgement longest, s", f"{max(took, default=float('nan')):.2f}"),
        ("acknowledged each second", f"{len(took) / run.sending_s:.1f}"),
        *((f"pages p{int(100 * q)}, ms", f"{1000 * quantile(run.pages_s, q):.0f}") for q in (0.5, 0.95, 0.99)),
        ("pages longest, ms", f"{1000 * max(run.pages_s, default=float('nan')):.0f} of {len(run.pages_s)}"),
        ("server's memory at most, MB", f"{run.server_mb:.0f} (with its processes {run.tree_mb:.0f})"),
        ("on file by state when stopped", str(dict(run.states))),
        ("stored to read, last captures, s", f"median {run.status.get('last_median_s')}"),
        ("stopped after, s", f"{run.stop_s:.1f}"),
        ("verification", run.verified),
        ("load of the machine, before and after", f"{run.load_before:.1f}, {run.load_after:.1f}"),
    ]


def main() -> None:
    """Run once and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--captures", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=300, help="How long the clients may send at most.")
    parser.add_argument("--reading", type=float, default=30, help="How long the server may read on after that.")
    parser.add_argument("--code", type=Path, help="Folder of another version's source, to compare.")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        run = measure(
            Path(folder), clients=given.clients, captures=given.captures, seconds=given.seconds,
            reading=given.reading, code=given.code and given.code.resolve(),
        )  # fmt: skip
    table = Table(title=f"{given.clients} clients, {given.captures} captures each")
    table.add_column("what")
    table.add_column("figure", justify="right")
    for name, figure in rows(run):
        table.add_row(name, figure)
    Console(width=100).print(table)


if __name__ == "__main__":
    main()
