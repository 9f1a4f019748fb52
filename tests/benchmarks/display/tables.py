"""The tables that the benchmark prints."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from rich.table import Table

from tests.benchmarks.display.measure import Counts, Outcome, counted, interval, said_right, wilson


def share(hits: int, count: int) -> str:
    """Write a share in per cent with what it is counted from."""
    return f"{100 * hits / count:.1f} % ({hits}/{count})" if count else "–"


def wrong_share(counts: Counts) -> str:
    """Write wrong among accepted with its 95 % interval."""
    if not counts.accepted:
        return "none accepted"
    low, high = interval(counts.wrong, counts.accepted)
    return f"{share(counts.wrong, counts.accepted)} [{100 * low:.1f}–{100 * high:.1f}]"


COLUMNS: tuple[tuple[str, Callable[[Counts], str]], ...] = (
    ("exact of legible", lambda c: share(c.exact, c.legible)),
    ("digits and point of legible", lambda c: share(c.digits, c.legible_digits)),
    ("unit asked for", lambda c: str(c.asked)),
    ("refused", lambda c: str(c.pictures - c.accepted)),
    ("point wrong", lambda c: str(c.point)),
    ("unit wrong", lambda c: str(c.unit)),
    ("wrong of accepted [95 %]", wrong_share),
    ("small fields", lambda c: f"{c.small_right}/{c.small_all}"),
)


def grouped(title: str, outcomes: Sequence[Outcome], key: Callable[[Outcome], str]) -> Table:
    """Tabulate one line for each value of `key`, and one for all."""
    lines: dict[str, list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        lines[key(outcome)].append(outcome)
    table = Table(title=title)
    table.add_column("")
    for name in ("pictures", *(name for name, _ in COLUMNS)):
        table.add_column(name, justify="right")
    for name, some in sorted(lines.items()):
        _line(table, name, some)
    if len(lines) > 1:
        table.add_section()
        _line(table, "all", outcomes)
    return table


def _line(table: Table, name: str, outcomes: Sequence[Outcome]) -> None:
    counts = counted(outcomes)
    table.add_row(name, str(counts.pictures), *(text(counts) for _, text in COLUMNS))


def seconds(values: Sequence[float]) -> str:
    """Give the median and 95th percentile, s."""
    if not values:
        return "–"
    return f"{np.median(values):.2f} / {np.percentile(values, 95):.2f}"


def beside(title: str, readers: Mapping[str, Sequence[Outcome]]) -> Table:
    """Tabulate readers beside each other on the same pictures, the first being ours."""
    table = grouped_head(title, ("CPU s p50 / p95", "wall s p50 / p95"))
    for name, outcomes in readers.items():
        counts = counted(outcomes)
        table.add_row(
            name, str(counts.pictures), *(text(counts) for _, text in COLUMNS[:-1]),
            seconds([o.spent.cpu for o in outcomes]), seconds([o.spent.wall for o in outcomes]),
        )  # fmt: skip
    return table


def with_wilson(hits: int, count: int) -> str:
    """Write a share with Wilson's 95 % interval."""
    low, high = wilson(hits, count)
    return f"{share(hits, count)} [{100 * low:.1f}–{100 * high:.1f}]" if count else "–"


def real(title: str, readers: Mapping[str, Sequence[Outcome]]) -> Table:
    """Tabulate readers on real pictures, which are few: every share with its interval.

    "Read" is digits and point right whether accepted or not; a general reader accepts all that it reads.
    """
    table = Table(title=f"{title}; 95 % intervals by Wilson")
    columns = ("exact of legible", "accepted, right, of legible", "read of legible", "wrong of accepted")
    for name in ("reader", "pictures", *columns, "CPU s p50 / p95"):
        table.add_column(name, justify="left" if name == "reader" else "right")
    for name, outcomes in readers.items():
        counts = counted(outcomes)
        digits = [o for o in outcomes if o.case.shown and o.case.shown[0].digits]
        table.add_row(
            name, str(counts.pictures), with_wilson(counts.exact, counts.legible),
            with_wilson(counts.digits, counts.legible_digits),
            with_wilson(sum(map(said_right, digits)), len(digits)), with_wilson(counts.wrong, counts.accepted),
            seconds([o.spent.cpu for o in outcomes]),
        )  # fmt: skip
    return table


def grouped_head(title: str, more: Sequence[str]) -> Table:
    """Make an empty table with the columns of the counts and some more."""
    table = Table(title=title)
    table.add_column("reader")
    for name in ("pictures", *(name for name, _ in COLUMNS[:-1]), *more):
        table.add_column(name, justify="right")
    return table


def ratios(readers: Mapping[str, Sequence[Outcome]], ours: str) -> Table:
    """Compare what the peers reach against ours on the pictures that both were asked about: above 1 is more."""
    table = Table(title=f"as a multiple of {ours} on the same pictures")
    table.add_column("reader")
    for name in ("exact", "digits and point", "wrong of accepted", "CPU time, median"):
        table.add_column(name, justify="right")
    own = {o.case.name: o for o in readers[ours]}
    for name, outcomes in readers.items():
        if name == ours or not outcomes:
            continue
        mine = [own[o.case.name] for o in outcomes]
        a, b = counted(outcomes), counted(mine)
        table.add_row(
            name, _times(a.exact, b.exact), _times(a.digits, b.digits),
            _times(a.wrong / max(1, a.accepted), b.wrong / max(1, b.accepted)),
            _times(float(np.median([o.spent.cpu for o in outcomes])), float(np.median([o.spent.cpu for o in mine]))),
        )  # fmt: skip
    return table


def _times(theirs: float, own: float) -> str:
    if own == 0:
        return "ours 0" if theirs else "both 0"
    return f"{theirs / own:.2f}"
