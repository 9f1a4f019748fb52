"""The dialogue as a pure state machine: events in, state and effects out.

One question is open at a time, the first of the queue; the others wait in the order in which they came. What a person
says or taps answers the open question and no other.

    event --advance--> new state, effects --carried out by `api.dialogue.turn`--> rows, sentences, further events

Laws that hold for every order of events (`tests/api/dialogue/test_machine.py`): `Confirm` comes only from the word or
tap "confirm", and only for exactly the revisions that stand in the open question; it never comes for a value under
test voltage while safety steps of its axis are open; nothing but "resume" has any effect during a pause.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from api.visit.safety_steps import STEP_BY_ID, meets
from capture.reading import Command


@dataclass(frozen=True)
class Value:
    """One proposal as it was read back.

    Attributes:
        proposal: Its number, "J1-P3".
        revision: The revision that was read back.
        gated: The axis whose safety steps hold it back, where it was taken under test voltage; None otherwise.
    """

    proposal: str
    revision: int
    gated: str | None = None


@dataclass(frozen=True)
class ValueQuestion:
    """Readings said in one breath, read back together: "... Right?", or what is in doubt about them."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class SafetyQuestion:
    """One safety step of one axis."""

    axis: str
    step: str


Question = ValueQuestion | SafetyQuestion


@dataclass(frozen=True)
class State:
    """Where the dialogue stands.

    Attributes:
        questions: What is to be answered, in order; the first is open.
        paused: Nothing is obeyed until "resume".
        noting: The next utterance is kept as a note.
        answered: The safety question answered last, which "take it back" opens again; None where none can be.
    """

    questions: tuple[Question, ...] = ()
    paused: bool = False
    noting: bool = False
    answered: SafetyQuestion | None = None

    @property
    def open(self) -> Question | None:
        """The question that is open."""
        return self.questions[0] if self.questions else None


# What can happen.


@dataclass(frozen=True)
class Proposed:
    """Readings were understood; they wait for a yes."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class Changed:
    """A proposal has another value, or another doubt."""

    value: Value


@dataclass(frozen=True)
class Settled:
    """A proposal was confirmed or dropped, by whatever way."""

    proposal: str


@dataclass(frozen=True)
class TestMeant:
    """An insulation test was mentioned on an axis of which these safety steps are open."""

    axis: str
    steps: tuple[str, ...]

    __test__ = False  # no test, whatever pytest takes the name for


@dataclass(frozen=True)
class StepsOpen:
    """These steps of an axis are open now; those that were answered elsewhere are asked no more."""

    axis: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class Told:
    """A command was said."""

    command: Command


@dataclass(frozen=True)
class Replied:
    """A plain answer was said: "yes", "no", "not_applicable", or a number of volts; doubtful ones are asked again."""

    answer: str
    volts: str | None = None
    sure: bool = True


@dataclass(frozen=True)
class Spoken:
    """Anything else was said: a value, a place, talk."""


Event = Proposed | Changed | Settled | TestMeant | StepsOpen | Told | Replied | Spoken

# What follows.


class Note(StrEnum):
    """Sentences that the machine has said; the words are in `api.dialogue.sentences`."""

    PAUSED = "paused"
    RESUMED = "resumed"
    NOT_PAUSED = "not_paused"
    NOTE_NEXT = "note_next"
    NOTHING_CONFIRMED = "nothing_confirmed"
    NOTHING_DROPPED = "nothing_dropped"
    NOTHING_ASKED = "nothing_asked"
    ONLY_QUESTION = "only_question"
    SKIPPED = "skipped"
    WAITS = "waits"
    STILL_OPEN = "still_open"
    SAFETY_FIRST = "safety_first"
    SAFETY_WAITS = "safety_waits"
    SAFETY_DONE = "safety_done"
    VOLTS_WANTED = "volts_wanted"
    UNSURE = "unsure"
    MUST_APPLY = "must_apply"
    SAY_CONFIRM = "say_confirm"


@dataclass(frozen=True)
class Tell:
    """Say a sentence, about an axis where it needs one."""

    note: Note
    axis: str = ""


@dataclass(frozen=True)
class Ask:
    """Read the open question, at the end of everything else that is said."""


@dataclass(frozen=True)
class Confirm:
    """Make records of these revisions."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class Drop:
    """Reject these proposals."""

    values: tuple[Value, ...]


@dataclass(frozen=True)
class Hold:
    """Refuse a confirmation, since safety steps of this axis are open."""

    axis: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class PutAnswer:
    """Write the answer to a safety step; where it is not met, say why and what to do."""

    axis: str
    step: str
    answer: str
    volts: str | None
    met: bool


@dataclass(frozen=True)
class TakeBackAnswer:
    """Let an answer to a safety step count no more; the step is asked again."""

    axis: str
    step: str


@dataclass(frozen=True)
class Do:
    """Carry out a command that no question is about."""

    command: Command


@dataclass(frozen=True)
class KeepNote:
    """Keep what was said as a note."""


@dataclass(frozen=True)
class Ignored:
    """What was said is kept as evidence, and nothing else follows: the dialogue is paused."""


Effect = Tell | Ask | Confirm | Drop | Hold | PutAnswer | TakeBackAnswer | Do | KeepNote | Ignored
Step = tuple[State, tuple[Effect, ...]]


def advance(state: State, event: Event, open_steps: Mapping[str, tuple[str, ...]] | None = None) -> Step:
    """Give the state after an event, and what is to be done.

    Args:
        state: Where the dialogue stands.
        event: What happened.
        open_steps: Ids of the open safety steps, by axis; an axis that is not named has none.
    """
    heard = isinstance(event, Told | Replied | Spoken)
    if heard and state.paused:
        if isinstance(event, Told) and event.command is Command.RESUME:
            return replace(state, paused=False), (Tell(Note.RESUMED), Ask())
        return state, (Ignored(),)
    if heard and state.noting and not (isinstance(event, Told) and event.command in (Command.PAUSE, Command.REJECT)):
        return replace(state, noting=False), (KeepNote(), Ask())
    if isinstance(event, Told):
        return _told(replace(state, noting=False), event.command, open_steps or {})
    if isinstance(event, Replied):
        return _replied(state, event)
    if isinstance(event, Spoken):
        return state, ()
    return _happened(state, event)


def _happened(state: State, event: Event) -> Step:
    if isinstance(event, Proposed):
        return _queued(state, event.values)
    if isinstance(event, Changed):
        return _changed(state, event.value)
    if isinstance(event, Settled):
        return _without(state, [event.proposal])
    if isinstance(event, TestMeant):
        return _safety_asked(state, event.axis, event.steps, front=False)
    assert isinstance(event, StepsOpen)
    kept = [q for q in state.questions if not isinstance(q, SafetyQuestion) or _still(q, event)]
    return _moved(state, replace(state, questions=tuple(kept)))


def _still(question: SafetyQuestion, event: StepsOpen) -> bool:
    return question.axis != event.axis or question.step in event.steps


def _moved(before: State, after: State) -> Step:
    """Ask the next question where the open one is no longer the one that was."""
    if after.open == before.open or after.open is None:
        return after, ()
    was_safety = isinstance(before.open, SafetyQuestion)
    told = () if was_safety and isinstance(after.open, SafetyQuestion) else (Tell(Note.STILL_OPEN),)
    return after, (*told, Ask())


def _queued(state: State, values: tuple[Value, ...]) -> Step:
    after = replace(state, questions=(*state.questions, ValueQuestion(values)))
    return after, (Ask(),) if state.open is None else (Tell(Note.WAITS), Ask())


def _changed(state: State, value: Value) -> Step:
    asked = any(_holds(question, value.proposal) for question in state.questions)
    if not asked:
        return _queued(state, (value,))
    questions = tuple(_with(question, value) for question in state.questions)
    waits = not _holds(questions[0], value.proposal)
    return replace(state, questions=questions), (*((Tell(Note.WAITS),) if waits else ()), Ask())


def _holds(question: Question, proposal: str) -> bool:
    return isinstance(question, ValueQuestion) and any(value.proposal == proposal for value in question.values)


def _with(question: Question, value: Value) -> Question:
    if not isinstance(question, ValueQuestion):
        return question
    return ValueQuestion(tuple(value if old.proposal == value.proposal else old for old in question.values))


def _without(state: State, proposals: Iterable[str]) -> Step:
    gone = set(proposals)
    kept: list[Question] = []
    for question in state.questions:
        if isinstance(question, ValueQuestion):
            left = tuple(value for value in question.values if value.proposal not in gone)
            if left:
                kept.append(ValueQuestion(left))
        else:
            kept.append(question)
    return _moved(state, replace(state, questions=tuple(kept)))


def _safety_asked(state: State, axis: str, steps: tuple[str, ...], *, front: bool) -> Step:
    """Put the safety questions of an axis before everything but a value that is just being asked about."""
    asked = {question.step for question in state.questions if isinstance(question, SafetyQuestion)}
    new: list[Question] = [SafetyQuestion(axis, step) for step in steps if step not in asked]
    if not new:
        return state, (Ask(),) if front else ()
    first = 0 if front or not isinstance(state.open, ValueQuestion) else 1
    while first < len(state.questions) and isinstance(state.questions[first], SafetyQuestion):
        first += 1
    questions = (*state.questions[:first], *new, *state.questions[first:])
    after = replace(state, questions=questions, answered=None)
    waits = isinstance(after.open, ValueQuestion)
    return after, (Tell(Note.SAFETY_WAITS if waits else Note.SAFETY_FIRST, axis), Ask())


def _told(state: State, command: Command, open_steps: Mapping[str, tuple[str, ...]]) -> Step:
    always = {
        Command.PAUSE: (replace(state, paused=True), (Tell(Note.PAUSED),)),
        Command.RESUME: (state, (Tell(Note.NOT_PAUSED), Ask())),
        Command.NOTE: (replace(state, noting=True), (Tell(Note.NOTE_NEXT),)),
    }
    if command in always:
        return always[command]
    if command is Command.SKIP:
        return _skipped(state)
    if isinstance(state.open, SafetyQuestion):
        step = _told_in_safety(state, command)
        if step is not None:
            return step
    elif isinstance(state.open, ValueQuestion):
        if command is Command.CONFIRM:
            return _confirmed(state, state.open, open_steps)
        if command is Command.REJECT:
            return state, (Drop(state.open.values),)
    refused = {
        Command.CONFIRM: Note.NOTHING_CONFIRMED,
        Command.REJECT: Note.NOTHING_DROPPED,
        Command.NOT_APPLICABLE: Note.NOTHING_ASKED,
    }
    if command in refused:
        return state, (Tell(refused[command]), Ask())
    return state, (Do(command),)


def _told_in_safety(state: State, command: Command) -> Step | None:
    answers = {Command.CONFIRM: "yes", Command.REJECT: "no", Command.NOT_APPLICABLE: "not_applicable"}
    if command in answers:
        return _replied(state, Replied(answers[command]))
    if command in (Command.UNDO, Command.CORRECT) and state.answered is not None:
        back = state.answered
        after = replace(state, questions=(back, *state.questions), answered=None)
        return after, (TakeBackAnswer(back.axis, back.step), Ask())
    return None


def _skipped(state: State) -> Step:
    if state.open is None:
        return state, (Tell(Note.NOTHING_ASKED),)
    if len(state.questions) == 1:
        return state, (Tell(Note.ONLY_QUESTION), Ask())
    return replace(state, questions=(*state.questions[1:], state.open)), (Tell(Note.SKIPPED), Ask())


def _confirmed(state: State, question: ValueQuestion, open_steps: Mapping[str, tuple[str, ...]]) -> Step:
    for value in question.values:
        steps = open_steps.get(value.gated or "", ()) if value.gated else ()
        if value.gated and steps:
            after, effects = _safety_asked(state, value.gated, steps, front=True)
            return after, (Hold(value.gated, steps), *effects)
    return state, (Confirm(question.values),)


def _replied(state: State, reply: Replied) -> Step:
    question = state.open
    if not isinstance(question, SafetyQuestion):
        note = Note.NOTHING_ASKED if question is None else Note.SAY_CONFIRM
        return state, (Tell(note), Ask())
    step = STEP_BY_ID[question.step]
    answer = reply.answer
    if answer == "volts":
        if not step.value_unit:
            return state, (Tell(Note.UNSURE), Ask())
        answer = "yes"
    if not reply.sure:
        return state, (Tell(Note.UNSURE), Ask())
    if answer == "not_applicable" and not step.may_not_apply:
        return state, (Tell(Note.MUST_APPLY), Ask())
    if answer == "yes" and step.value_unit and reply.volts is None:
        return state, (Tell(Note.VOLTS_WANTED), Ask())
    met = meets(step, answer, reply.volts)
    put = PutAnswer(question.axis, question.step, answer, reply.volts, met)
    left = state.questions[1:]
    if not met:  # nothing more is asked about a test that may not begin
        left = tuple(q for q in left if not (isinstance(q, SafetyQuestion) and q.axis == question.axis))
    after = replace(state, questions=left, answered=question)
    last = not any(isinstance(q, SafetyQuestion) and q.axis == question.axis for q in left)
    done: tuple[Effect, ...] = (Tell(Note.SAFETY_DONE, question.axis),) if met and last else ()
    return after, (put, *done, *((Ask(),) if left else ()))
