"""A small load run: what is acknowledged is on file, whole, and the folder verifies. No time is asserted."""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.load.__main__ import quantile, rows
from tests.benchmarks.load.driver import measure


def test_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    run = measure(tmp_path, clients=6, captures=4, seconds=60, reading=1)
    assert len(run.sent) == 24
    assert all(one.acknowledged_s is not None for one in run.sent)
    assert (run.lost, run.verified) == ([], "intact")
    assert sum(run.states.values()) == 24
    assert run.pages_s
    assert dict(rows(run))["lost after acknowledgement"] == "0"


def test_quantiles() -> None:
    assert [quantile([3, 1, 2, 4], share) for share in (0.5, 0.75, 0.99)] == [2, 3, 4]
