"""The way of a recognition from the recogniser's return to the stored proposal, as it really runs.

Every call from one module of the product into another is counted. The guide draws the way as a list of modules; here it
is held to what happens, so that a detour shows itself.
"""

from __future__ import annotations

import re
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from api.ledger import database
from api.ledger.tables import ProposalRow
from api.workspace import Workspace
from capture.reading import Context, Seen, Utterance
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
SMALL = {
    "capture/reading.py", "grading/terms/quantity.py", "grading/terms/terminals.py", "grading/terms/section.py",
    "api/visit/notes.py", "api/ledger/acting.py", "api/ledger/ids.py", "api/ledger/clock.py", "api/ledger/canonical.py",
    "api/dialogue/events.py",
}  # fmt: skip
"""Values that travel, and how one is written: they are met wherever the way leads."""
MOST_MODULES = 20
MOST_ENTRIES = {"api/ledger/database.py": 5, "api/ledger/trail.py": 3, "api/dialogue/turn.py": 5,
                "api/visit/proposals.py": 4, "capture/completeness.py": 2, "api/visit/changes.py": 2}  # fmt: skip
"""Modules that are entered more than once: rows and their entry, the turn that everything is said to, its proposals,
what was changed of the job (with the job, and with its records)."""


class Trip:
    """Follows calls between modules while it is on."""

    def __init__(self) -> None:
        self.on = False
        self.entered: list[str] = []

    def __call__(self, frame: FrameType, event: str, _argument: object) -> None:
        if not self.on or event != "call":
            return
        here, caller = _module(frame), frame.f_back
        while caller is not None and _module(caller) is None:
            caller = caller.f_back
        if here is not None and (caller is None or _module(caller) != here):
            self.entered.append(here)


def _module(frame: FrameType) -> str | None:
    path = Path(frame.f_code.co_filename)
    if not path.is_relative_to(ROOT):
        return None
    name = str(path.relative_to(ROOT))
    return name if name.startswith(("api/", "capture/", "grading/")) else None


def travel(folder: Path, monkeypatch: pytest.MonkeyPatch, act: Callable[[Visit], Any]) -> list[str]:
    """List the modules entered between the recogniser's return and the storing of the proposal, in order."""
    trip = Trip()

    class Watched(FakeEngines):
        def hear(self, data: bytes, context: Context) -> Utterance:
            heard = super().hear(data, context)
            trip.on = True
            return heard

        def see(self, data: bytes, corners: Any = None) -> Seen:
            seen = super().see(data, corners)
            trip.on = True
            return seen

    put = database.Transaction.put

    def watched(self: database.Transaction, row: Any) -> None:
        put(self, row)
        if isinstance(row, ProposalRow):
            trip.on = False

    workspace = Workspace.open(folder, engines=Watched())
    visit = Visit(workspace)
    monkeypatch.setattr(database.Transaction, "put", watched)
    before = sys.getprofile()
    sys.setprofile(trip)
    try:
        act(visit)
    finally:
        sys.setprofile(before)
        workspace.close()
    assert not trip.on, "no proposal was stored"
    return trip.entered


def drawn(heading: str) -> list[str]:
    """Read the modules that the guide lists under a heading, in order."""
    part = GUIDE.split(f"{heading}\n", 1)[1].split("\n\n")[0]
    return re.findall(r"`((?:api|capture)/[\w/]+\.py)`", part)


def test_a_clip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    said = "x ray axis through the cable a one to a two one point zero eight ohms"
    counts = Counter(name for name in travel(tmp_path, monkeypatch, lambda v: v.say(said)) if name not in SMALL)
    assert len(counts) <= MOST_MODULES, counts
    assert {name: count for name, count in counts.items() if count > MOST_ENTRIES.get(name, 1)} == {}
    assert list(counts) == drawn("**The way of a clip**")


def test_a_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Follow a photo, which also passes its instrument's profile, its warnings and the storing of its cut-out."""
    counts = Counter(
        name for name in travel(tmp_path, monkeypatch, lambda v: v.show("1.080", "Ohm")) if name not in SMALL
    )
    assert list(counts) == drawn("**The way of a photo**")
