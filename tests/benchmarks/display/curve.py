"""Risk against coverage: how many would be wrong if only the answers of highest confidence counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.table import Table

from tests.benchmarks.display.measure import Outcome, said_right
from tests.benchmarks.display.plots import plot

COVERAGES = (0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0)


@dataclass(frozen=True)
class Curve:
    """Shares from the highest confidence down: of the pictures answered, and of those answers the wrong ones."""

    coverage: list[float]
    risk: list[float]


def curve(outcomes: Sequence[Outcome]) -> Curve:
    """Trace digits and point over all pictures, refused answers by their score as well; no text counts as no answer."""
    said = [(o.answer.score, said_right(o)) for o in outcomes if o.answer.text]
    said.sort(key=lambda pair: -pair[0])
    wrong = np.cumsum([not right for _, right in said])
    counts = np.arange(1, len(said) + 1)
    return Curve((counts / max(1, len(outcomes))).tolist(), (wrong / counts).tolist())


def risk_at(one: Curve, coverage: float) -> float | None:
    """Give the share wrong when this share of the pictures is answered; None if fewer have an answer."""
    reached = next((i for i, c in enumerate(one.coverage) if c >= coverage - 1e-9), None)
    return None if reached is None else one.risk[reached]


def table(curves: Mapping[str, Curve]) -> Table:
    """Tabulate the curves."""
    made = Table(title="digits or point wrong, if the surest share of all pictures is answered")
    made.add_column("reader")
    for coverage in COVERAGES:
        made.add_column(f"{100 * coverage:.0f} %", justify="right")
    for name, one in curves.items():
        risks = [risk_at(one, c) for c in COVERAGES]
        made.add_row(name, *("–" if r is None else f"{100 * r:.1f} %" for r in risks))
    return made


def draw(curves: Mapping[str, Curve], to: Path) -> None:
    """Draw the curves into a PNG file.

    Raises:
        SystemExit: matplotlib is not installed.
    """
    with plot(to, "--curve", (7, 4.5)) as axes:
        for name, one in curves.items():
            axes.plot(np.array(one.coverage) * 100, np.array(one.risk) * 100, label=name)
        axes.set_xlabel("pictures answered, surest first, %")
        axes.set_ylabel("digits or point wrong among them, %")
        axes.set_xlim(0, 100)
        axes.set_ylim(bottom=0)
        axes.legend()
