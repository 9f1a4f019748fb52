"""How rows are named: "J1-R12" is the twelfth record of job J1. Numbers are given and read here alone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol, TypeVar

LETTERS = {
    "capture": "C",
    "proposal": "P",
    "confirmation_event": "E",
    "record": "R",
    "safety_answer": "S",
    "grading_run": "G",
    "report_file": "D",
    "instrument_profile": "F",
    "sent_action": "A",
    "job_change": "H",
    "picture": "N",
}
"""The letter of each table whose rows are numbered within a job."""


class _Named(Protocol):
    @property
    def id(self) -> str: ...


_Row = TypeVar("_Row", bound=_Named)


def row_id(table: str, job_id: str, number: int) -> str:
    """Name the row of a table by its number within a job, from 1: ("record", "J1", 12) gives "J1-R12"."""
    return f"{job_id}-{LETTERS[table]}{number}"


def number_of(row: str) -> int:
    """Give the number within the job that a row's id holds: "J1-R12" gives 12."""
    return int(row.rpartition("-")[2][1:])


def in_order(rows: Iterable[_Row]) -> list[_Row]:
    """Sort rows of one job and table by their numbers, which is the order in which they were made."""
    return sorted(rows, key=lambda row: number_of(row.id))
