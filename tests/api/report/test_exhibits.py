"""What a report says of evidence that gave nothing: each way of failing has its sentence."""

from __future__ import annotations

from typing import Any

import pytest

from api.ledger.canonical import canonical
from api.ledger.tables import CaptureRow
from api.report import exhibits


def capture(state: str, outcome: dict[str, Any]) -> CaptureRow:
    return CaptureRow(
        id="J1-C1",
        job_id="J1",
        sha256="a" * 64,
        client_id=None,
        state=state,
        outcome_json=canonical(outcome),
        captured_at="2026-11-24T09:33:00+01:00",
        received_at="2026-11-24T08:33:02.000000Z",
    )


DISPLAY = {"text": "550", "accepted": True, "reason": ""}
REFUSED = {"text": "", "accepted": False, "reason": "The digits are too small. Go closer."}


@pytest.mark.parametrize(
    ("state", "outcome", "expected"),
    [
        ("stored", {}, "not read yet"),
        ("cut", {}, "connection was lost"),
        ("failed", {"problem": {"message": "The file is damaged."}}, "The file is damaged."),
        ("failed", {}, "could not be read"),
        ("recognised", {"seen": {"displays": [REFUSED], "reason": ""}}, "Go closer."),
        ("recognised", {"seen": {"displays": [], "reason": "No display in the photo."}}, "No display in the photo."),
        ("recognised", {"heard": {"text": ""}}, "No words"),
    ],
)
def test_evidence_that_gave_nothing_says_why(state: str, outcome: dict[str, Any], expected: str) -> None:
    assert expected in exhibits._problem(capture(state, outcome))


@pytest.mark.parametrize(
    "outcome", [{"heard": {"text": "confirm"}}, {"seen": {"displays": [REFUSED, DISPLAY], "reason": ""}}]
)
def test_evidence_that_gave_something_has_no_problem(outcome: dict[str, Any]) -> None:
    assert exhibits._problem(capture("recognised", outcome)) == ""


def test_what_was_understood_is_taken_from_the_outcome() -> None:
    assert exhibits._understood(capture("recognised", {"heard": {"text": "x-ray axis"}})) == "x-ray axis"
    seen = {"seen": {"displays": [REFUSED, DISPLAY], "reason": ""}}
    assert exhibits._understood(capture("recognised", seen)) == "550"
    assert exhibits._understood(capture("failed", {})) == ""
