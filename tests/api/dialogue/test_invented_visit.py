"""The whole invented visit through the conversation, with ears and eyes that make no mistake.

The words and displays are those of `fixtures/visit/truth.json`; parser, joining, safety gate, records and trail are the
real ones. What then stands in the record must be what the story says. (With real ears and eyes: `tests/e2e`.)
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

import fixtures.visit
from api.commands.demo import replay
from api.intake.recognisers import ListeningStream, Quad
from api.ledger.canonical import sha256_hex
from api.visit.records import current_records
from api.workspace import Workspace
from capture.display.aim import Aim
from capture.display.burst import Burst
from capture.expectation import Asked
from capture.language.parse import parse
from capture.reading import Context, DisplayReading, Heard, Seen, Utterance
from capture.speech.memo import Piece, Span
from grading.terms.quantity import Qualifier, Quantity, parse_digits
from grading.terms.terminals import pair

FOLDER = Path(fixtures.visit.__file__).parent
TRUTH: dict[str, Any] = json.loads((FOLDER / "truth.json").read_text("utf-8"))


class PerfectEngines:
    """Knows every clip and photo of the story by its content."""

    def __init__(self) -> None:
        takes = TRUTH["clips"] + TRUTH["photos"]
        self.known = {sha256_hex((FOLDER / take["file"]).read_bytes()): take for take in takes}

    def hear(self, data: bytes, context: Context) -> Utterance:
        return parse(Heard(self.known[sha256_hex(data)]["words"]), context)

    def see_burst(self, frames: Sequence[bytes]) -> Burst:
        alone = tuple(self.see(data) for data in frames)
        return Burst(alone[0], alone, 0)

    def hear_piece(self, piece: Piece) -> tuple[Span, ...]:
        raise NotImplementedError

    def see(self, data: bytes, corners: Quad | None = None) -> Seen:
        photo = self.known[sha256_hex(data)]
        shows = photo["shows"]
        main = shows["main"]
        if main == "OL":
            quantity = Quantity(None, shows["unit"], Qualifier.OPEN)
        else:
            bound = Qualifier.ABOVE if main.startswith(">") else Qualifier.EQUAL
            quantity = Quantity(main.lstrip(">"), shows["unit"], bound)
        secondary = {name: shows[name] for name in ("test_voltage", "elapsed") if name in shows}
        reason = "" if photo["readable"] else "The display glares."
        return Seen((DisplayReading(main, quantity, secondary, {"value": 0.9}, photo["readable"], reason, ()),))

    def crop(self, data: bytes, quad: Quad) -> bytes:
        raise NotImplementedError

    def aim(self, data: bytes, width: int) -> Aim:
        raise NotImplementedError

    def stream(self, asked: Asked = Asked.NOTHING) -> ListeningStream:
        raise NotImplementedError


@pytest.fixture(scope="module")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> Workspace:
    workspace = Workspace.open(tmp_path_factory.mktemp("visit") / "data", engines=PerfectEngines())
    replay(workspace, FOLDER)
    return workspace


def test_every_record_of_the_story_and_no_other(replayed: Workspace) -> None:
    with replayed.database.read() as session:
        records = [record.row for record in current_records(session, "J1")]
    assert len(records) == len(TRUTH["records"])
    for record, truth in zip(records, TRUTH["records"], strict=True):
        assert (record.axis, record.section, record.kind) == (truth["axis"], truth["section"], truth["kind"])
        assert pair(record.terminals or "") == pair(truth["terminals"])
        assert record.qualifier == truth.get("qualifier", "=")
        if truth["value"]:
            assert parse_digits(record.value or "") == parse_digits(truth["value"])
            assert record.unit == truth["unit"]
        if "test_voltage_built" in truth:
            assert record.test_voltage_built == truth["test_voltage_built"]
        assert record.clip_sha256


def test_the_trail_of_the_story_is_intact(replayed: Workspace) -> None:
    found = replayed.verify()
    assert found.intact, found.problems
    replayed.close()
