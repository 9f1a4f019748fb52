"""The dialogue's machine alone: tables of what follows from what, and its laws over random orders of events.

The laws are the product's own (DESIGN): a record only by "confirm" of exactly what was read back, or by saying it
again where that is wanted, no insulation value
before its safety steps, at most one question open, a pause that nothing but "resume" ends.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from api.dialogue.events import (
    Ask,
    Changed,
    DialogueState,
    Do,
    Drop,
    Event,
    Hold,
    Ignored,
    KeepNote,
    MakeRecords,
    Note,
    OtherwiseSaid,
    Proposed,
    PutAnswer,
    Replied,
    SafetyQuestion,
    SaidAgain,
    Settled,
    StepsOpen,
    TakeBackAnswer,
    Tell,
    TestMeant,
    Told,
    Value,
    ValueQuestion,
)
from api.dialogue.machine import advance
from api.visit.safety_steps import STEPS
from capture.reading import Command

P1, P2 = Value("J1-P1", 1), Value("J1-P2", 1)
GATED = Value("J1-P3", 2, "X")
TWICE = Value("J1-P4", 1, None, twice=True)
BUS, TAGGED, CLEAR = "bus_discharged", "isolated_and_locked", "people_clear"


def questions(*values: Value) -> DialogueState:
    return DialogueState(tuple(ValueQuestion((value,)) for value in values))


def safety(*steps: str) -> DialogueState:
    return DialogueState(tuple(SafetyQuestion("X", step) for step in steps))


TABLE: dict[str, tuple[DialogueState, Event, DialogueState, list[Any]]] = {
    "a value is asked about": (DialogueState(), Proposed((P1,)), questions(P1), [Ask()]),
    "a second waits its turn": (questions(P1), Proposed((P2,)), questions(P1, P2), [Tell(Note.WAITS), Ask()]),
    "what was left open long ago comes after": (
        questions(P1),
        Proposed((P2,), frozenset({"J1-P1"})),
        questions(P2, P1),
        [Tell(Note.LEFT_WAITS), Ask()],
    ),
    "confirm answers the first": (questions(P1, P2), Told(Command.CONFIRM), questions(P1, P2), [MakeRecords((P1,))]),
    "negative drops the first": (questions(P1, P2), Told(Command.REJECT), questions(P1, P2), [Drop((P1,))]),
    "then the next is asked": (questions(P1, P2), Settled("J1-P1"), questions(P2), [Tell(Note.STILL_OPEN), Ask()]),
    "skip puts it last": (questions(P1, P2), Told(Command.SKIP), questions(P2, P1), [Tell(Note.SKIPPED), Ask()]),
    "the only one stays": (questions(P1), Told(Command.SKIP), questions(P1), [Tell(Note.ONLY_QUESTION), Ask()]),
    "a change is read back": (questions(P1), Changed(Value("J1-P1", 2)), questions(Value("J1-P1", 2)), [Ask()]),
    "nothing to confirm": (
        DialogueState(),
        Told(Command.CONFIRM),
        DialogueState(),
        [Tell(Note.NOTHING_CONFIRMED), Ask()],
    ),
    "a soft yes confirms no value": (questions(P1), Replied("yes"), questions(P1), [Tell(Note.SAY_CONFIRM), Ask()]),
    "safety is asked at once": (
        DialogueState(),
        TestMeant("X", (TAGGED, CLEAR)),
        safety(TAGGED, CLEAR),
        [Tell(Note.SAFETY_FIRST, "X"), Ask()],
    ),
    "safety waits for the value being asked about": (
        questions(P1, P2),
        TestMeant("X", (TAGGED,)),
        DialogueState((ValueQuestion((P1,)), SafetyQuestion("X", TAGGED), ValueQuestion((P2,)))),
        [Tell(Note.SAFETY_WAITS, "X"), Ask()],
    ),
    "no steps, no question": (DialogueState(), TestMeant("X", ()), DialogueState(), []),
    "the word is not enough": (
        questions(TWICE),
        Told(Command.CONFIRM),
        questions(TWICE),
        [Tell(Note.SAY_TWICE), Ask()],
    ),
    "said again": (questions(TWICE), SaidAgain(), questions(TWICE), [MakeRecords((TWICE,))]),
    "said again answers no safety question": (safety(CLEAR), SaidAgain(), safety(CLEAR), []),
    "the gate holds what is said again": (
        questions(GATED),
        SaidAgain(),
        DialogueState((SafetyQuestion("X", CLEAR), ValueQuestion((GATED,)))),
        [Hold("X", (CLEAR,)), Tell(Note.SAFETY_FIRST, "X"), Ask()],
    ),
    "the gate holds a confirmation": (
        questions(GATED),
        Told(Command.CONFIRM),
        DialogueState((SafetyQuestion("X", CLEAR), ValueQuestion((GATED,)))),
        [Hold("X", (CLEAR,)), Tell(Note.SAFETY_FIRST, "X"), Ask()],
    ),
    "the gate brings what waits to the front": (
        DialogueState((ValueQuestion((GATED,)), SafetyQuestion("X", CLEAR))),
        Told(Command.CONFIRM),
        DialogueState((SafetyQuestion("X", CLEAR), ValueQuestion((GATED,)))),
        [Hold("X", (CLEAR,)), Tell(Note.SAFETY_FIRST, "X"), Ask()],
    ),
    "what holds for the cabinet is asked once": (
        safety(TAGGED, CLEAR),
        TestMeant("Y", (TAGGED, CLEAR)),
        DialogueState((SafetyQuestion("X", TAGGED), SafetyQuestion("X", CLEAR), SafetyQuestion("Y", CLEAR))),
        [Tell(Note.SAFETY_FIRST, "Y"), Ask()],
    ),
    "yes": (
        safety(TAGGED, CLEAR),
        Replied("yes"),
        DialogueState((SafetyQuestion("X", CLEAR),), answered=SafetyQuestion("X", TAGGED)),
        [PutAnswer("X", TAGGED, "yes", None, met=True), Ask()],
    ),
    "the last yes": (
        safety(CLEAR),
        Told(Command.CONFIRM),
        DialogueState(answered=SafetyQuestion("X", CLEAR)),
        [PutAnswer("X", CLEAR, "yes", None, met=True), Tell(Note.SAFETY_DONE, "X")],
    ),
    "no ends the questions": (
        safety(TAGGED, CLEAR),
        Told(Command.REJECT),
        DialogueState(answered=SafetyQuestion("X", TAGGED)),
        [PutAnswer("X", TAGGED, "no", None, met=False)],
    ),
    "what always applies": (
        safety(TAGGED),
        Told(Command.NOT_APPLICABLE),
        safety(TAGGED),
        [Tell(Note.MUST_APPLY), Ask()],
    ),
    "the bus wants volts": (safety(BUS), Replied("yes"), safety(BUS), [Tell(Note.VOLTS_WANTED), Ask()]),
    "three volts": (
        safety(BUS, CLEAR),
        Replied("volts", "3.1"),
        DialogueState((SafetyQuestion("X", CLEAR),), answered=SafetyQuestion("X", BUS)),
        [PutAnswer("X", BUS, "yes", "3.1", met=True), Ask()],
    ),
    "seventy-five volts are no yes": (  # 29 CFR 1910.333(a)(1): 50 V
        safety(BUS, CLEAR),
        Replied("volts", "75"),
        DialogueState(answered=SafetyQuestion("X", BUS)),
        [PutAnswer("X", BUS, "yes", "75", met=False)],
    ),
    "an unsure answer is none": (
        safety(TAGGED),
        Replied("yes", sure=False),
        safety(TAGGED),
        [Tell(Note.UNSURE), Ask()],
    ),
    "take it back": (
        DialogueState((SafetyQuestion("X", CLEAR),), answered=SafetyQuestion("X", TAGGED)),
        Told(Command.UNDO),
        safety(TAGGED, CLEAR),
        [TakeBackAnswer("X", TAGGED), Ask()],
    ),
    "answered by a tap": (safety(TAGGED, CLEAR), StepsOpen("X", (CLEAR,)), safety(CLEAR), [Ask()]),
    "pause": (
        questions(P1),
        Told(Command.PAUSE),
        DialogueState((ValueQuestion((P1,)),), paused=True),
        [Tell(Note.PAUSED)],
    ),
    "nothing counts in a pause": (
        DialogueState((ValueQuestion((P1,)),), paused=True),
        Told(Command.CONFIRM),
        DialogueState((ValueQuestion((P1,)),), paused=True),
        [Ignored()],
    ),
    "resume": (
        DialogueState((ValueQuestion((P1,)),), paused=True),
        Told(Command.RESUME),
        questions(P1),
        [Tell(Note.RESUMED), Ask()],
    ),
    "a note is not understood": (
        DialogueState((ValueQuestion((P1,)),), noting=True),
        Told(Command.CONFIRM),
        questions(P1),
        [KeepNote(), Ask()],
    ),
    "a command without a question": (questions(P1), Told(Command.NEXT), questions(P1), [Do(Command.NEXT)]),
}


@pytest.mark.parametrize("name", TABLE)
def test_what_follows(name: str) -> None:
    before, event, after, effects = TABLE[name]
    gates = {"X": (CLEAR,)}
    assert advance(before, event, gates) == (after, tuple(effects))


STEP_IDS = [step.id for step in STEPS]
VALUES = st.builds(
    Value,
    st.sampled_from(["J1-P1", "J1-P2", "J1-P3"]),
    st.integers(1, 3),
    st.sampled_from([None, "X", "Y"]),
    st.booleans(),
)


class Dialogue(RuleBasedStateMachine):
    """Any event in any order; the gate of X and Y opens and shuts by itself."""

    def __init__(self) -> None:
        super().__init__()
        self.state = DialogueState()
        self.gates: dict[str, tuple[str, ...]] = {"X": tuple(STEP_IDS), "Y": tuple(STEP_IDS)}

    def _after(self, event: Event) -> None:
        before = self.state
        self.state, effects = advance(before, event, self.gates)
        for effect in effects:
            self._lawful(before, event, effect)
            if isinstance(effect, PutAnswer) and effect.met:
                self.gates[effect.axis] = tuple(s for s in self.gates[effect.axis] if s != effect.step)
            elif isinstance(effect, PutAnswer | TakeBackAnswer):
                self.gates[effect.axis] = tuple(s for s in STEP_IDS if s in {*self.gates[effect.axis], effect.step})
        if (
            before.paused
            and isinstance(event, Told | Replied | SaidAgain | OtherwiseSaid)
            and event != Told(Command.RESUME)
        ):
            assert self.state == before
            assert effects == (Ignored(),)

    def _lawful(self, before: DialogueState, event: Event, effect: object) -> None:
        if isinstance(effect, MakeRecords):
            by_word = event == Told(Command.CONFIRM) and not any(value.twice for value in effect.values)
            assert by_word or event == SaidAgain()
            assert before.open == ValueQuestion(effect.values)
            assert not any(value.gated and self.gates[value.gated] for value in effect.values)
        if isinstance(effect, Drop):
            assert event == Told(Command.REJECT)
            assert before.open == ValueQuestion(effect.values)
        if isinstance(effect, PutAnswer):
            assert before.open == SafetyQuestion(effect.axis, effect.step)

    @rule(value=VALUES)
    def proposed(self, value: Value) -> None:
        if not any(
            isinstance(q, ValueQuestion) and any(v.proposal == value.proposal for v in q.values)
            for q in self.state.questions
        ):
            self._after(Proposed((value,)))

    @rule(value=VALUES)
    def changed(self, value: Value) -> None:
        self._after(Changed(value))

    @rule(proposal=st.sampled_from(["J1-P1", "J1-P2", "J1-P3"]))
    def settled(self, proposal: str) -> None:
        self._after(Settled(proposal))

    @rule(axis=st.sampled_from(["X", "Y"]))
    def meant(self, axis: str) -> None:
        self._after(TestMeant(axis, self.gates[axis]))

    @rule(axis=st.sampled_from(["X", "Y"]), left=st.integers(0, 12))
    def tapped(self, axis: str, left: int) -> None:
        self.gates[axis] = tuple(STEP_IDS[:left])
        self._after(StepsOpen(axis, self.gates[axis]))

    @rule(command=st.sampled_from(list(Command)))
    def told(self, command: Command) -> None:
        self._after(Told(command))

    @rule(answer=st.sampled_from(["yes", "no", "volts"]), volts=st.sampled_from(["3.1", "75"]), sure=st.booleans())
    def replied(self, answer: str, volts: str, sure: bool) -> None:
        self._after(Replied(answer, volts if answer == "volts" else None, sure))

    @rule()
    def said_again(self) -> None:
        self._after(SaidAgain())

    @rule()
    def spoken(self) -> None:
        self._after(OtherwiseSaid())

    @invariant()
    def nothing_is_asked_twice(self) -> None:
        proposals = [v.proposal for q in self.state.questions if isinstance(q, ValueQuestion) for v in q.values]
        steps = [q for q in self.state.questions if isinstance(q, SafetyQuestion)]
        assert len(set(proposals)) == len(proposals)
        assert len(set(steps)) == len(steps)


TestDialogue = Dialogue.TestCase
TestDialogue.settings = settings(
    max_examples=200, stateful_step_count=40, deadline=None, suppress_health_check=list(HealthCheck)
)
