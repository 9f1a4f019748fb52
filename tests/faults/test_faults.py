"""A sample of all points, and the ones that once broke a law; `python -m tests.faults` makes all of them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from tests.faults.powercut import Call
from tests.faults.runner import KINDS, Workers, broken, plan, workers
from tests.faults.visit import SCENARIOS
from tests.faults.worker import POWER, Point, Result

SAMPLE, SEED = 20, 2026
SEEDS = 2

KNOWN: dict[str, str] = {}
"""Violations that are known and not yet fixed, with what is wrong; an entry goes when its fix comes in."""


@dataclass(frozen=True)
class Case:
    """A point that once broke a law, named so that it is found again when calls come and go.

    Attributes:
        kind: The fault.
        step: The step of the visit that makes the call.
        op: The call's operation.
        path: Pattern of its path.
        which: Which of those calls: 0 the first, -1 the last.
    """

    kind: str
    step: str
    op: str
    path: str
    which: int = 0

    def points(self, calls: list[Call]) -> list[Point]:
        """Find the call; for a loss of power several folders that it could leave."""
        steps = [name for name, _ in SCENARIOS["visit"]]
        fits = [
            number
            for number, call in enumerate(calls, 1)
            if call.op == self.op and re.fullmatch(self.path, call.path) and steps[call.told] == self.step
        ]
        seeds = range(SEEDS) if self.kind == POWER else range(1)
        return [Point("visit", self.kind, fits[self.which], seed) for seed in seeds]


DATABASE, WAL = r"/data/ohmtrail\.db(-.*)?", r"/data/ohmtrail\.db-wal"
TEMPORARY, HEAD = r"/data/evidence/../\.tmp-.*", r"/data/(trail-head.*|\.tmp-.*)"
CASES = {
    "the name of the data folder was never synced": Case(POWER, "4 value", "write", WAL),
    "the name of the evidence folder was never synced": Case(POWER, "7 yes again", "write", WAL, -1),
    "a first start stopped before its tables": Case(
        "KILL_BEFORE", "0 open", "sync", r"/data/(\.tmp-.*|ohmtrail\.db.*)"
    ),
    "no space for the database at the first start": Case("DISK_FULL", "0 open", "write", DATABASE),
    "the left-over of a refused file cannot be removed": Case(
        "DISK_EIO", "4 value", "sync", r"/data/evidence/../\.tmp-.*"
    ),
    "no space for the folder of a clip": Case("DISK_FULL", "4 value", "mkdir", r"/data/evidence/.."),
    "no space for the head file after the commit": Case(
        "SHORT_ENOSPC", "12 tap", "write", r"/data/(trail-head.*|\.tmp-.*)"
    ),
    "the disk refuses everything from the commit on": Case("DISK_EIO", "12 tap", "sync", WAL, -1),
    "stopped between file and row": Case("KILL_BEFORE", "4 value", "write", WAL),
    "stopped between the cut-out and its row": Case("KILL_BEFORE", "8 photo", "write", WAL, -1),
    "a short write of shared memory, no space for the next clip": Case(
        "SHORT_ENOSPC", "17 open", "write", r"/data/ohmtrail\.db-shm", -1
    ),
    "the checkpoint at the end is torn": Case("KILL_TORN", "16 close", "write", DATABASE, -1),
    "power lost in the checkpoint at the end": Case(POWER, "16 close", "write", DATABASE, -1),
}


@pytest.fixture(scope="module")
def started() -> Iterator[Workers]:
    """Start two workers."""
    with workers(2) as running:
        yield running


@pytest.fixture(scope="module")
def calls(started: Workers) -> dict[str, list[Call]]:
    """List the calls of each scenario."""
    return {name: started.calls(name) for name in SCENARIOS}


def unknown(results: Iterator[Result]) -> list[str]:
    """Say what was broken beyond what is known."""
    lines = [line for result in results for line in broken(result)]
    return [line for line in lines if not any(re.search(pattern, line) for pattern in KNOWN)]


def test_the_visit_writes_in_every_way_that_can_fail(calls: dict[str, list[Call]]) -> None:
    """Hold that nothing is missing from what is disturbed: checkpoints in the middle too, and every store."""
    ops = {call.op for call in calls["visit"]}
    assert {"write", "sync", "create", "mkdir", "rename", "unlink", "resize"} <= ops
    assert len(calls["visit"]) > 500
    steps = {call.told for call in calls["visit"] if call.path == "/data/ohmtrail.db" and call.op == "write"}
    assert len(steps) > 3
    for folder in ("evidence", "reports"):
        assert any(call.path.startswith(f"/data/{folder}/") and call.op == "rename" for call in calls["visit"])


def test_every_run_makes_the_same_calls(started: Workers, calls: dict[str, list[Call]]) -> None:
    """Hold that a point means the same call each time, which a worker checks as well at each point."""
    assert not unknown(started.make([Point("visit", "KILL_BEFORE", len(calls["visit"]))]))


def test_a_sample_of_all_points(started: Workers, calls: dict[str, list[Call]]) -> None:
    points = plan(calls, KINDS, cuts=1, most=SAMPLE, seed=SEED)
    assert not unknown(started.make(points))


@pytest.mark.parametrize("name", CASES)
def test_what_once_broke_a_law(started: Workers, calls: dict[str, list[Call]], name: str) -> None:
    assert not unknown(started.make(CASES[name].points(calls["visit"])))
