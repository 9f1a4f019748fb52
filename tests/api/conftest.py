"""Fixtures of the server's tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from api.visit.readings import ReadingFields
from api.visit.safety_steps import STEPS
from api.workspace import Workspace
from tests.api.makers import JOB, FakeEngines, at, clip, photo


@pytest.fixture
def workspace(tmp_path: Path) -> Iterator[Workspace]:
    """Open an empty workspace with engines that read what the makers wrote."""
    opened = Workspace.open(tmp_path / "data", engines=FakeEngines())
    yield opened
    opened.close()


class Visit:
    """A job being worked on: says, shows and taps in order, twenty seconds apart."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.job = workspace.create_job(JOB)["id"]
        self.now = 0.0

    @classmethod
    def of(cls, workspace: Workspace, job: str) -> Visit:
        """Take up a job that is there already."""
        visit = cls.__new__(cls)
        visit.workspace, visit.job, visit.now = workspace, job, 0.0
        return visit

    def _later(self, seconds: float) -> str:
        self.now += seconds
        return at(self.now)

    def say(self, words: str, after: float = 20) -> dict[str, Any]:
        """Say something."""
        return self.workspace.take_clip(self.job, clip(words, int(self.now) + 1), self._later(after))

    def show(
        self, value: str | None, unit: str | None, qualifier: str = "=", after: float = 10, **more: Any
    ) -> dict[str, Any]:
        """Take a photo of a display."""
        data = photo(value, unit, qualifier, int(self.now) + 1, **more)
        return self.workspace.take_photo(self.job, data, self._later(after))

    def type_in(self, fields: ReadingFields) -> dict[str, Any]:
        """Type a reading."""
        return self.workspace.type_reading(self.job, fields, self._later(10))

    def make_safe(self, axis: str = "X") -> None:
        """Answer every safety step of an axis."""
        answers: dict[str, Any] = {step.id: {"answer": "yes", "value": "3"} for step in STEPS}
        self.workspace.answer_safety(self.job, axis, answers, captured_at=self._later(1))

    def records(self) -> list[dict[str, Any]]:
        """Read the records in force, newest last."""
        from api.visit.records import current_records

        with self.workspace.database.read() as session:
            return [record.row.model_dump() for record in current_records(session, self.job)]

    def whats(self) -> list[str]:
        """List what the trail says happened, in order."""
        from sqlmodel import col, select

        from api.ledger.tables import TrailEntryRow

        with self.workspace.database.read() as session:
            return list(session.exec(select(TrailEntryRow.what).order_by(col(TrailEntryRow.seq))).all())


@pytest.fixture
def visit(workspace: Workspace) -> Visit:
    """Begin a job that is being worked on."""
    return Visit(workspace)
