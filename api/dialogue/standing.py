"""Where the dialogue stands, as a row of the database and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.dialogue.events import DialogueState, Question, SafetyQuestion, Value, ValueQuestion
from api.ledger.canonical import JsonObject
from api.visit.notes import Notes, notes_from


@dataclass(frozen=True)
class Discharge:
    """Leads that are being discharged.

    Attributes:
        axis: The axis tested.
        seconds: How long, s.
        since: UTC instant at which it began.
    """

    axis: str
    seconds: int
    since: str


@dataclass(frozen=True)
class BesideLast:
    """Circumstances that were said last, which "undo that" takes back.

    Attributes:
        proposal: The proposal that they were noted beside; empty where they wait for the next reading.
        revision: Its revision since.
        before: What was noted there before.
    """

    proposal: str
    revision: int
    before: Notes


@dataclass
class Standing:
    """The state of the machine, with what else must survive from turn to turn.

    Attributes:
        state: The state.
        asked_at: The device's time of the input upon which the open question was asked; an answer spoken earlier
            answered something else.
        discharge: The discharge after the last insulation test; None before one.
        twice: A value that was heard once only is confirmed by saying it again, not by a word.
        coming: Circumstances that were said before the reading that they belong to.
        beside_last: The circumstances said last, for each proposal.
        rests: Between readings only what is sure is obeyed; see `api.dialogue.attention`.
        heeded_at: The device's time of the last input that was understood; empty before one.
    """

    state: DialogueState = field(default_factory=DialogueState)
    asked_at: str = ""
    discharge: Discharge | None = None
    twice: bool = False
    coming: Notes = field(default_factory=Notes)
    beside_last: tuple[BesideLast, ...] = ()
    rests: bool = False
    heeded_at: str = ""


def standing_to_json(standing: Standing) -> JsonObject:
    """Give it as plain data."""
    state, discharge = standing.state, standing.discharge
    answered = state.answered
    return {
        "questions": [_question_to_json(question) for question in state.questions],
        "paused": state.paused,
        "noting": state.noting,
        "answered": None if answered is None else [answered.axis, answered.step],
        "asked_at": standing.asked_at,
        "twice": standing.twice,
        "rests": standing.rests,
        "heeded_at": standing.heeded_at,
        "coming": standing.coming.to_json(),
        "beside_last": [[one.proposal, one.revision, one.before.to_json()] for one in standing.beside_last],
        "discharge": None
        if discharge is None
        else {"axis": discharge.axis, "seconds": discharge.seconds, "since": discharge.since},
    }


def _question_to_json(question: Question) -> JsonObject:
    if isinstance(question, SafetyQuestion):
        return {"axis": question.axis, "step": question.step}
    return {"values": [[value.proposal, value.revision, value.gated, value.twice] for value in question.values]}


def standing_from_json(data: Mapping[str, Any] | Sequence[Any]) -> Standing:
    """Read what `standing_to_json` wrote, or the list of proposals that stood in its place before there was a queue."""
    if not isinstance(data, Mapping):
        values = tuple(Value(str(proposal), int(revision)) for proposal, revision in data)
        return Standing(DialogueState((ValueQuestion(values),) if values else ()))
    answered, discharge = data["answered"], data["discharge"]
    state = DialogueState(
        questions=tuple(_question(question) for question in data["questions"]),
        paused=bool(data["paused"]),
        noting=bool(data["noting"]),
        answered=None if answered is None else SafetyQuestion(*answered),
    )
    held = None if discharge is None else Discharge(**discharge)
    last = tuple(BesideLast(name, revision, _notes(notes)) for name, revision, notes in data.get("beside_last", ()))
    coming = _notes(data.get("coming", {}))
    return Standing(
        state=state,
        asked_at=str(data["asked_at"]),
        discharge=held,
        twice=bool(data.get("twice", False)),
        coming=coming,
        beside_last=last,
        rests=bool(data.get("rests", False)),
        heeded_at=str(data.get("heeded_at", "")),
    )


def _notes(data: Mapping[str, object]) -> Notes:
    return notes_from(data, Notes())


def _question(data: Mapping[str, Any]) -> Question:
    if "step" in data:
        return SafetyQuestion(data["axis"], data["step"])
    return ValueQuestion(tuple(Value(*value) for value in data["values"]))
