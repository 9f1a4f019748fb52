"""How far the fitted certainty holds: of the readings in each band of it, how many are right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from rich.table import Table

from tests.benchmarks.display.measure import Outcome, said_right, wilson
from tests.benchmarks.display.plots import plot

BOUNDS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 1.0)
"""Edges of the bands; narrower where readings are accepted."""


@dataclass(frozen=True)
class Band:
    """Readings whose certainty of digits and point lies in one band, accepted or not.

    Attributes:
        low: Lower bound, 0..1.
        high: Upper bound; the last band includes it.
        count: How many readings.
        told: Their mean certainty.
        right: How many have digits and point right.
    """

    low: float
    high: float
    count: int
    told: float
    right: int


def bands(outcomes: Sequence[Outcome]) -> list[Band]:
    """Sort readings into the bands, empty ones too; no text counts as no reading."""
    said = [(min(1.0, max(0.0, o.answer.score)), said_right(o)) for o in outcomes if o.answer.text]
    found = []
    for low, high in pairwise(BOUNDS):
        some = [(sure, right) for sure, right in said if low <= sure < high or sure == high == BOUNDS[-1]]
        told = sum(sure for sure, _ in some) / len(some) if some else 0.0
        found.append(Band(low, high, len(some), told, sum(right for _, right in some)))
    return found


def table(readers: Mapping[str, Sequence[Outcome]]) -> Table:
    """Tabulate the bands of some readers, with Wilson's 95 % intervals."""
    made = Table(title="certainty of digits and point as told, and how many are right, accepted or not")
    for name in ("reader", "certainty", "readings", "told, mean", "right", "95 %, Wilson"):
        made.add_column(name, justify="left" if name == "reader" else "right")
    for name, outcomes in readers.items():
        for band in bands(outcomes):
            low, high = wilson(band.right, band.count)
            told = (f"{100 * band.told:.1f} %", str(band.right), f"{100 * low:.0f} to {100 * high:.0f} %")
            made.add_row(
                name, f"{band.low:g} to {band.high:g}", str(band.count), *(told if band.count else ("–", "–", "–"))
            )
        made.add_section()
    return made


def draw(outcomes: Sequence[Outcome], to: Path) -> None:
    """Draw a reader's bands into a PNG file: told against right, with intervals, and how many under each.

    Raises:
        SystemExit: matplotlib is not installed.
    """
    found = [band for band in bands(outcomes) if band.count]
    shares = [band.right / band.count for band in found]
    edges = [wilson(band.right, band.count) for band in found]
    ways = [
        [max(0.0, share - low) for share, (low, _) in zip(shares, edges, strict=True)],
        [max(0.0, high - share) for share, (_, high) in zip(shares, edges, strict=True)],
    ]
    with plot(to, "--bands", (5, 5)) as axes:
        axes.plot([0, 1], [0, 1], color="grey", linewidth=1)
        axes.errorbar([band.told for band in found], shares, yerr=ways, fmt="o", capsize=3)
        for band, share in zip(found, shares, strict=True):
            axes.annotate(f"{band.right}/{band.count}", (band.told, share), textcoords="offset points", xytext=(6, -12))
        axes.set_xlabel("certainty of digits and point as told")
        axes.set_ylabel("share right, with 95 % interval (Wilson)")
        axes.set_xlim(0, 1.08)
        axes.set_ylim(0, 1.02)
