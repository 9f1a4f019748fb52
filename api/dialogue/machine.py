"""The dialogue as a pure state machine: events in, state and effects out.

One question is open at a time, the first of the queue; the others wait in the order in which they came. What a person
says or taps answers the open question and no other.

    event --advance--> new state, effects --carried out by `api.dialogue.turn`--> rows, sentences, further events

Laws that hold for every order of events (`tests/api/dialogue/test_machine.py`): `MakeRecords` comes only from the
word "confirm" or from the values said again, and only for exactly the revisions that stand in the open question; by
the word never for a value that is to be said twice; never for a value under test voltage while safety steps of its
axis are open; nothing but "resume" has any effect during a pause.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from api.dialogue.events import (
    Ask,
    Changed,
    DialogueState,
    Do,
    Drop,
    Effect,
    Event,
    Hold,
    Ignored,
    KeepNote,
    MakeRecords,
    Note,
    OtherwiseSaid,
    Proposed,
    PutAnswer,
    Question,
    Replied,
    SafetyQuestion,
    SaidAgain,
    Settled,
    Step,
    StepsOpen,
    TakeBackAnswer,
    Tell,
    TestMeant,
    Told,
    Value,
    ValueQuestion,
)
from api.visit.safety_steps import STEP_BY_ID, meets
from capture.reading import Command


def advance(state: DialogueState, event: Event, open_steps: Mapping[str, tuple[str, ...]] | None = None) -> Step:
    """Give the state after an event, and what is to be done.

    Args:
        state: Where the dialogue stands.
        event: What happened.
        open_steps: Ids of the open safety steps, by axis; an axis that is not named has none.
    """
    heard = isinstance(event, Told | Replied | SaidAgain | OtherwiseSaid)
    if heard and state.paused:
        if isinstance(event, Told) and event.command is Command.RESUME:
            return replace(state, paused=False), (Tell(Note.RESUMED), Ask())
        return state, (Ignored(),)
    if heard and state.noting and not (isinstance(event, Told) and event.command in (Command.PAUSE, Command.REJECT)):
        return replace(state, noting=False), (KeepNote(), Ask())
    if isinstance(event, Told):
        return _told(replace(state, noting=False), event.command, open_steps or {})
    if isinstance(event, SaidAgain) and isinstance(state.open, ValueQuestion):
        return _confirmed(state, state.open, open_steps or {}, said_again=True)
    return _replied(state, event) if isinstance(event, Replied) else _happened(state, event)


def _happened(state: DialogueState, event: Event) -> Step:
    if isinstance(event, Proposed):
        return _queued(state, event.values, event.left)
    if isinstance(event, Changed):
        return _changed(state, event.value)
    if isinstance(event, Settled):
        return _without(state, [event.proposal])
    if isinstance(event, TestMeant):
        return _safety_asked(state, event.axis, event.steps, front=False)
    if not isinstance(event, StepsOpen):  # anything else that is said is understood outside
        return state, ()
    kept = [q for q in state.questions if not isinstance(q, SafetyQuestion) or _still(q, event)]
    return _moved(state, replace(state, questions=tuple(kept)))


def _still(question: SafetyQuestion, event: StepsOpen) -> bool:
    return question.axis != event.axis or question.step in event.steps


def _moved(before: DialogueState, after: DialogueState) -> Step:
    """Ask the next question where the open one is no longer the one that was."""
    if after.open == before.open or after.open is None:
        return after, ()
    was_safety = isinstance(before.open, SafetyQuestion)
    told = () if was_safety and isinstance(after.open, SafetyQuestion) else (Tell(Note.STILL_OPEN),)
    return after, (*told, Ask())


def _queued(state: DialogueState, values: tuple[Value, ...], left: frozenset[str] = frozenset()) -> Step:
    """Put a new question last, but before those that were left open long ago."""
    new = ValueQuestion(values)
    old = [q for q in state.questions if isinstance(q, ValueQuestion) and {v.proposal for v in q.values} <= left]
    after = replace(state, questions=(*(q for q in state.questions if q not in old), new, *old))
    if after.open != new:
        return after, (Tell(Note.WAITS), Ask())
    return after, (*((Tell(Note.LEFT_WAITS),) if old else ()), Ask())


def _changed(state: DialogueState, value: Value) -> Step:
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


def _without(state: DialogueState, proposals: Iterable[str]) -> Step:
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


def _safety_asked(state: DialogueState, axis: str, steps: tuple[str, ...], *, front: bool) -> Step:
    """Put the safety questions of an axis before everything but a value that is just being asked about."""
    if front:  # those that wait already come along
        waiting = [q for q in state.questions if isinstance(q, SafetyQuestion) and q.axis == axis]
        state = replace(state, questions=tuple(q for q in state.questions if q not in waiting))
    queued = [question for question in state.questions if isinstance(question, SafetyQuestion)]
    cabinet = {question.step for question in queued if STEP_BY_ID[question.step].cabinet}
    new = [
        SafetyQuestion(axis, step) for step in steps if step not in cabinet and SafetyQuestion(axis, step) not in queued
    ]
    if not new:
        return state, (Ask(),) if front else ()
    first = 0 if front or not isinstance(state.open, ValueQuestion) else 1
    while first < len(state.questions) and isinstance(state.questions[first], SafetyQuestion):
        first += 1
    questions = (*state.questions[:first], *new, *state.questions[first:])
    after = replace(state, questions=questions, answered=None)
    waits = isinstance(after.open, ValueQuestion)
    return after, (Tell(Note.SAFETY_WAITS if waits else Note.SAFETY_FIRST, axis), Ask())


def _told(state: DialogueState, command: Command, open_steps: Mapping[str, tuple[str, ...]]) -> Step:
    always: dict[Command, Step] = {
        Command.PAUSE: (replace(state, paused=True), (Tell(Note.PAUSED),)),
        Command.RESUME: (state, (Tell(Note.NOT_PAUSED), Ask())),
        Command.NOTE: (replace(state, noting=True), (Tell(Note.NOTE_NEXT),)),
        Command.SKIP: _skipped(state),
    }
    step = always.get(command)
    if step is None and isinstance(state.open, SafetyQuestion):
        step = _told_in_safety(state, command)
    if step is None and isinstance(state.open, ValueQuestion):
        if command is Command.CONFIRM:
            step = _confirmed(state, state.open, open_steps)
        elif command is Command.REJECT:
            step = state, (Drop(state.open.values),)
    return step or _unanswering(state, command)


def _unanswering(state: DialogueState, command: Command) -> Step:
    refused = {
        Command.CONFIRM: Note.NOTHING_CONFIRMED,
        Command.REJECT: Note.NOTHING_DROPPED,
        Command.NOT_APPLICABLE: Note.NOTHING_ASKED if state.open is None else Note.SAY_CONFIRM,
    }
    if command in refused:
        return state, (Tell(refused[command]), Ask())
    return state, (Do(command),)


def _told_in_safety(state: DialogueState, command: Command) -> Step | None:
    answers = {Command.CONFIRM: "yes", Command.REJECT: "no", Command.NOT_APPLICABLE: "not_applicable"}
    if command in answers:
        return _replied(state, Replied(answers[command]))
    if command in (Command.UNDO, Command.CORRECT) and state.answered is not None:
        back = state.answered
        after = replace(state, questions=(back, *state.questions), answered=None)
        return after, (TakeBackAnswer(back.axis, back.step), Ask())
    return None


def _skipped(state: DialogueState) -> Step:
    if state.open is None:
        return state, (Tell(Note.NOTHING_ASKED),)
    if len(state.questions) == 1:
        return state, (Tell(Note.ONLY_QUESTION), Ask())
    return replace(state, questions=(*state.questions[1:], state.open)), (Tell(Note.SKIPPED), Ask())


def _confirmed(
    state: DialogueState,
    question: ValueQuestion,
    open_steps: Mapping[str, tuple[str, ...]],
    *,
    said_again: bool = False,
) -> Step:
    for value in question.values:
        steps = open_steps.get(value.gated or "", ()) if value.gated else ()
        if value.gated and steps:
            after, effects = _safety_asked(state, value.gated, steps, front=True)
            return after, (Hold(value.gated, steps), *effects)
    if not said_again and any(value.twice for value in question.values):
        return state, (Tell(Note.SAY_TWICE), Ask())
    return state, (MakeRecords(question.values),)


def _replied(state: DialogueState, reply: Replied) -> Step:
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
