"""The confirmation law, for any sequence of inputs.

Nothing becomes a record without a confirmation after the last change of its value; what is recorded is exactly what
was read back; a doubt or an open safety step never passes; and the trail proves all of it.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlmodel import col, select

from api.dialogue.actions import Action, Choose, Confirm, Correct, Reject
from api.errors import OhmtrailError
from api.ledger.columns import NoteColumns, ReadingColumns
from api.ledger.tables import TrailEntryRow
from api.visit.proposals import proposals_of
from api.visit.readings import reading_from_json
from api.visit.records import all_records, record_of
from api.visit.safety import is_gated
from api.workspace import Workspace
from capture.language.readback import statement, with_beside
from tests.api.conftest import Visit
from tests.api.makers import FakeEngines

VALUES = [
    "x ray axis through the cable a one to a two one point zero eight ohms",
    "yankee axis motor alone u to v one point two one ohms",
    "a one to a two one point zero nine ohms",
    "ohmmeter lead to ground fifteen megohms",
    "ohmmeter lead to ground o l",
    "insulation lead to ground five hundred fifty megohms",
    "insulation lead to ground greater than four thousand megohms",
    "two point two",
    "thirty four seventy meg",
    "same on the other lead",
    "lead to ground infinity",
    "bravo axis a one to a two two ohms",
    "one point one ohms confirm",
]
WORDS = ["x ray axis", "yankee axis motor alone", "cable alone", "insulation set five hundred volts", "megohms", "ohms"]
TALK = ["yes", "right", "no", "okay", "uh", "repeat", "next", "photo", "correction", "crash", "noise", "five"]
BESIDE = ["after cleaning", "not after cleaning", "brushes out", "position three", "confirm low battery"]
SHOWN = [("1.080", "Ohm", "="), ("1.09", "Ohm", "="), ("550", "MOhm", "="), ("4000", "MOhm", ">"), ("2.20", None, "=")]
READING = (*ReadingColumns.model_fields,)
NOTED = (*NoteColumns.model_fields,)


def fast_folder() -> str:
    """Give a folder in memory where there is one: this test is about order, not about disks."""
    return tempfile.mkdtemp(dir="/dev/shm" if Path("/dev/shm").is_dir() else None)


class Confirmation(RuleBasedStateMachine):
    """Any input in any order."""

    @initialize()
    def begin(self) -> None:
        self.folder = fast_folder()
        self.workspace = Workspace.open(self.folder, engines=FakeEngines())
        self.visit = Visit(self.workspace)
        self.said: list[str] = []
        self.records = 0
        self.may_confirm = False
        self.twice = False

    def _note(self, answer: dict[str, Any]) -> None:
        self.said.append(answer["message"])

    def _say(self, words: str) -> None:
        self._note(self.visit.say(words, after=7))

    @rule(words=st.sampled_from(VALUES))
    def say_a_value(self, words: str) -> None:
        self.may_confirm = self.twice
        self._say(words)

    @rule(wanted=st.booleans(), words=st.sampled_from(VALUES))
    def confirm_by_saying_again(self, wanted: bool, words: str) -> None:
        """From here on values are said twice, or not; one is said twice at once, so that it happens often."""
        self.twice = wanted
        self.workspace.say_twice(self.visit.job, wanted, captured_at=self.visit._later(7))
        self._say(words)
        self.may_confirm = wanted
        self._say(words)

    @rule(words=st.sampled_from(VALUES))
    def correct_by_voice(self, words: str) -> None:
        self._say(f"correction {words}")

    @rule(words=st.sampled_from(WORDS))
    def say_a_place_or_unit(self, words: str) -> None:
        self._say(words)

    @rule(words=st.sampled_from(BESIDE), before=st.sampled_from(["", "", "correction ", "x ray axis "]))
    def say_a_circumstance(self, words: str, before: str) -> None:
        self._say(f"{before}{words}")

    @rule(words=st.sampled_from(VALUES), beside=st.sampled_from(BESIDE))
    def say_a_value_with_its_circumstance(self, words: str, beside: str) -> None:
        self.may_confirm = self.twice
        self._say(f"{words} {beside}")

    @rule(words=st.sampled_from(TALK))
    def talk(self, words: str) -> None:
        self._say(words)

    @rule()
    def say_negative(self) -> None:
        self._say("negative")

    @rule()
    def take_back(self) -> None:
        self._say("take it back")

    @rule()
    def say_confirm(self) -> None:
        self.may_confirm = True
        self._say("confirm")

    @rule(shown=st.sampled_from(SHOWN), refused=st.sampled_from(["", "", "", "glare"]))
    def show(self, shown: tuple[str, str | None, str], refused: str) -> None:
        value, code, qualifier = shown
        self._note(self.visit.show(value, code, qualifier, after=7, refused=refused))

    @rule(axis=st.sampled_from(["X", "Y"]))
    def answer_safety(self, axis: str) -> None:
        self.visit.make_safe(axis)

    @rule(value=st.sampled_from(["0.80", "1.08", "550", "-3"]), code=st.sampled_from(["Ohm", "MOhm", None]))
    def type_a_reading(self, value: str, code: str | None) -> None:
        self._note(self.workspace.type_reading(self.visit.job, {"value": value, "unit": code}, self.visit._later(7)))

    def _open(self, data: st.DataObject) -> Any:
        with self.workspace.database.read() as session:
            rows = proposals_of(session, self.visit.job)
        return data.draw(st.sampled_from(rows)) if rows else None

    @rule(data=st.data(), action=st.sampled_from(["confirm", "choose", "correct", "reject"]), stale=st.booleans())
    def tap(self, data: st.DataObject, action: str, stale: bool) -> None:
        row = self._open(data)
        if row is None:
            return
        self.may_confirm = action == "confirm" and not stale
        revision = row.revision - (1 if stale else 0)
        done: Action = Confirm(revision) if action == "confirm" else Reject(revision)
        if action == "choose":
            done = Choose(data.draw(st.integers(0, 2)), revision)
        if action == "correct":
            fields: Any = data.draw(
                st.fixed_dictionaries(
                    {},
                    optional={
                        "value": st.sampled_from(["1.1", "0.80", "15"]),
                        "unit": st.sampled_from(["Ohm", "MOhm", "V"]),
                        "axis": st.sampled_from(["X", "Y", "Q"]),
                        "section": st.sampled_from(["motor_alone", "cable_alone"]),
                        "kind": st.sampled_from(["winding_resistance", "insulation_resistance"]),
                    },
                )
            )
            done = Correct(fields, revision=revision)
        try:
            self._note(self.workspace.act(row.id, done, captured_at=self.visit._later(7)))
        except OhmtrailError as refused:
            self.said.append(refused.message)

    @precondition(lambda self: self.records)
    @rule()
    def open_again(self) -> None:
        """Close and open the workspace: nothing depends on memory."""
        self.workspace.close()
        self.workspace = Workspace.open(self.folder, engines=FakeEngines())
        self.visit.workspace = self.workspace

    @invariant()
    def only_a_confirmation_makes_a_record(self) -> None:
        if not hasattr(self, "workspace"):
            return
        with self.workspace.database.read() as session:
            records = all_records(session, self.visit.job)
        assert len(records) == self.records or self.may_confirm
        for record in records[self.records :]:
            reading = reading_from_json({name: getattr(record.row, name) for name in READING})
            sentence = with_beside(statement(reading), record.notes.words)
            assert any(sentence in message for message in self.said), f"{sentence!r} was never read back"
        self.records = len(records)
        self.may_confirm = False

    def teardown(self) -> None:
        if not hasattr(self, "workspace"):
            return
        try:
            self._check_trail()
            found = self.workspace.verify()
            assert found.intact, found.problems
        finally:
            self.workspace.close()
            shutil.rmtree(self.folder)

    def _check_trail(self) -> None:
        """Walk the trail: every record follows a confirmation of the revision that held, without doubts."""
        proposals: dict[str, dict[str, Any]] = {}
        met, twice = 0, False
        with self.workspace.database.read() as session:
            for entry in session.exec(select(TrailEntryRow).order_by(col(TrailEntryRow.seq))):
                rows = json.loads(entry.body)["rows"]
                if entry.what == "confirmation set":
                    twice = json.loads(entry.body)["note"]["said_twice"]
                events = [row["row"] for row in rows if row["table"] == "confirmation_event"]
                for made in (row["row"] for row in rows if row["table"] == "record"):
                    before = proposals[made["proposal_id"]]
                    [event] = [event for event in events if event["id"] == made["confirmation_id"]]
                    assert event["action"] == "confirm"
                    assert event["revision"] == before["revision"]
                    assert before["state"] == "open"
                    assert before["doubts_json"] == "[]"
                    kept = (*READING, *NOTED)
                    assert {name: made[name] for name in kept} == {name: before[name] for name in kept}
                    assert made["unit"] is not None or made["value"] is None
                    met += 1
                    heard_once = made["source"] == "speech" and made["agreement"] in ("", "photo_not_read")
                    assert not (twice and heard_once and event["how"] == "spoken"), "a word confirmed it"
                    reading = reading_from_json({name: made[name] for name in READING})
                    if is_gated(reading):
                        assert self._answered_before(session, entry.seq, made["axis"])
                for row in rows:
                    if row["table"] == "proposal":
                        proposals[row["key"]] = row["row"]
            assert met == len(all_records(session, self.visit.job))
            for record in all_records(session, self.visit.job):
                assert record_of(session, record.id).row.proposal_id in proposals

    def _answered_before(self, session: Any, seq: int, axis: str) -> bool:
        statement = select(TrailEntryRow).where(TrailEntryRow.what == "safety answered", TrailEntryRow.seq < seq)
        axes = {json.loads(entry.body)["rows"][0]["row"]["axis_id"] for entry in session.exec(statement)}
        return f"{self.visit.job}-{axis}" in axes


TestConfirmation = Confirmation.TestCase
TestConfirmation.settings = settings(
    max_examples=60, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
