"""Hostile photos on their way in: each is kept byte for byte, answered with a reason, and stops nobody."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from api.errors import BadInput, TooLarge
from api.intake.recognisers import RealEngines
from api.workspace import Workspace
from tests.api.makers import JOB
from tests.capture.display.hostile import FILES


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workspace]:
    """Open a workspace with the real display reader behind it."""
    opened = Workspace.open(tmp_path_factory.mktemp("hostile") / "data", engines=RealEngines())
    opened.create_job(JOB)
    yield opened
    opened.close()


@pytest.mark.parametrize("name", [name for name, (_, code) in FILES.items() if code.startswith("photo_")])
def test_a_hostile_file_ends_as_kept_evidence_with_a_reason(real: Workspace, name: str) -> None:
    make, code = FILES[name]
    data = make()
    if code in ("photo_empty", "photo_too_large"):  # refused before anything is stored
        with pytest.raises((BadInput, TooLarge)):
            real.take_photo("J1", data)
        return
    answer = real.take_photo("J1", data)
    assert answer["state"] == "failed"
    assert answer["problem"]["code"] in (code, "unknown_type")
    assert len(answer["problem"]["message"]) > 20
    assert "kept" in answer["message"].lower()
    assert answer["proposals"] == []
    assert real.evidence.read(answer["sha256"]) == data


def test_afterwards_everything_is_as_recorded(real: Workspace) -> None:
    found = real.verify()
    assert found.intact, found.problems
