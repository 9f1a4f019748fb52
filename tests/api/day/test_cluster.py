"""A cluster of two processes: the same as on this machine alone, nothing lost or doubled when one of them is killed."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from distributed import LocalCluster

from api.day.batch import DayWishes, take_day
from api.day.cluster import ClusterEngines
from api.day.errors import ClusterAway
from capture.errors import CaptureError
from capture.speech.memo import Piece
from tests.api.day.afternoon import RULES, DayFakes, fill, opened, proposed, take


class SlowFakes(DayFakes):
    """Takes its time over each call, so that a kill falls into one."""

    def _count(self) -> None:
        time.sleep(0.3)


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as found:
        yield found


def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(tmp_path: Path, cluster: LocalCluster) -> None:
    files = fill(tmp_path / "files")
    alone = opened(tmp_path / "alone")
    take(alone, files)
    expected = proposed(alone)
    alone.close()
    engines = ClusterEngines(cluster.scheduler_address, make=SlowFakes)
    assert engines.workers == 2
    victims = _pids(engines)
    killed = threading.Timer(0.8, lambda: os.kill(min(victims), signal.SIGKILL))
    workspace = opened(tmp_path / "data")
    killed.start()
    outcome = take_day(workspace, [files], DayWishes(zone="+01:00"), workers=4, engines=engines, confidence=RULES)
    killed.join()
    assert not outcome.untaken
    assert proposed(workspace) == expected
    assert workspace.verify().summary.startswith("intact")
    workspace.close()
    assert min(victims) not in _pids(engines)
    with pytest.raises(CaptureError, match="fell over"):  # what fails there is told here by its own words
        engines.hear_piece(Piece("0" * 64, 0, 0.0, (0.0, 5.0), _spelled("fail")))
    engines.close()


def _pids(engines: ClusterEngines) -> set[int]:
    return {int(pid) for pid in engines._client.run(os.getpid).values()}


def _spelled(words: str) -> bytes:
    return b"".join(bytes((ord(letter), 0)) for letter in words)


def test_nobody_there_is_said() -> None:
    with pytest.raises(ClusterAway, match="dask scheduler"):
        ClusterEngines("tcp://127.0.0.1:9")
