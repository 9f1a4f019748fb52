"""A run that was cut off goes on from its journal, and from no other one."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.faults.journal import Journal, OtherProgram
from tests.faults.laws import Violation
from tests.faults.worker import Point, Result

FIRST = Result(Point("visit", "SHORT", 7), "write", "/data/x", 3, [Violation("kept", "a line\nof two")])
SECOND = Result(Point("visit", "POWER_CUT", 7, 2), "sync", "/data/y", 4)


def test_a_journal_is_read_back_without_the_line_that_was_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    journal = Journal(path)
    for result in (FIRST, SECOND):
        journal.add(result)
    whole = path.read_text()
    assert Journal(path).results == {FIRST.point: FIRST, SECOND.point: SECOND}
    path.write_text(whole[:-5])
    again = Journal(path)
    assert again.results == {FIRST.point: FIRST}
    again.add(SECOND)
    assert path.read_text() == whole


def test_a_journal_of_another_program_is_refused_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    Journal(path).add(FIRST)
    head, rest = path.read_text().split("\n", 1)
    other = json.dumps({**json.loads(head), "source": "0" * 64}) + "\n" + rest
    path.write_text(other)
    with pytest.raises(OtherProgram, match="Name a new file"):
        Journal(path)
    assert path.read_text() == other


def test_nothing_is_kept_without_a_file() -> None:
    journal = Journal(None)
    journal.add(FIRST)
    assert [*journal.results] == [FIRST.point]
