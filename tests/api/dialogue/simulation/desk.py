"""The desk: proposals and records in memory, moved by the dialogue's own machine."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from api.dialogue.events import (
    Ask,
    Changed,
    DialogueState,
    Drop,
    Event,
    Hold,
    MakeRecords,
    Proposed,
    PutAnswer,
    SafetyQuestion,
    SaidAgain,
    Settled,
    TestMeant,
    Value,
    ValueQuestion,
)
from api.dialogue.machine import advance
from api.dialogue.sentences import answer_words, safety_words
from api.visit.safety import is_gated
from api.visit.safety_steps import STEPS
from capture.completeness import completed
from capture.language.short import short_question
from capture.reading import Doubt, Reading


@dataclass
class Open:
    """A proposal, with what the display really showed."""

    reading: Reading
    truth: Reading
    doubts: tuple[Doubt, ...]
    alternatives: tuple[Reading, ...] = ()
    revision: int = 1
    heard_once: bool = True
    misheard: bool = False


@dataclass
class Counts:
    """What came of all visits."""

    readings: int = 0
    wrong: int = 0
    questions: int = 0
    words: int = 0
    answers: int = 0
    taps: int = 0
    axes: int = 0
    broken: int = 0


@dataclass
class Desk:
    """One visit."""

    axes: tuple[str, ...]
    counts: Counts
    state: DialogueState = field(default_factory=DialogueState)
    open: dict[str, Open] = field(default_factory=dict)
    gates: dict[str, tuple[str, ...]] = field(default_factory=dict)
    made: int = 0
    said_twice: bool = False

    def __post_init__(self) -> None:
        """Shut every gate."""
        self.gates = {axis: tuple(step.id for step in STEPS) for axis in self.axes}

    def happened(self, event: Event) -> None:
        """Advance the machine and carry out what it decides."""
        self.state, effects = advance(self.state, event, self.gates)
        for effect in effects:
            if isinstance(effect, Ask) and self.state.open is not None:
                self.counts.questions += 1
                self.counts.words += len(self.question().split())
            elif isinstance(effect, MakeRecords):
                self._confirmed(effect.values)
            elif isinstance(effect, Drop):
                for value in effect.values:
                    self.open.pop(value.proposal)
                    self.happened(Settled(value.proposal))
            elif isinstance(effect, PutAnswer):
                self._answered(effect)
            elif isinstance(effect, Hold):
                self.counts.words += 20

    def question(self) -> str:
        """Word the open question as it is spoken."""
        question = self.state.open
        if isinstance(question, SafetyQuestion):
            return safety_words(question)
        if question is None:
            return ""
        found = [self.open[value.proposal] for value in question.values]
        twice = self.said_twice
        return " ".join(
            short_question(one.reading, one.doubts, one.alternatives, twice=twice and one.heard_once) for one in found
        )

    def twice(self, name: str) -> bool:
        """Tell whether a proposal is to be said again."""
        return self._value(name).twice

    def again(self, name: str, given: Open) -> None:
        """Hear what was to be said again, as the conversation takes it."""
        old = self.open[name]
        if given.reading.quantity == old.reading.quantity and not given.doubts:
            self.happened(SaidAgain())
            return
        self.change(name, replace(given, doubts=(Doubt.LOW_CONFIDENCE,), alternatives=(old.reading,)))

    def asked(self) -> tuple[str, Open] | None:
        """Give the proposal that is asked about."""
        question = self.state.open
        if not isinstance(question, ValueQuestion):
            return None
        return question.values[0].proposal, self.open[question.values[0].proposal]

    def propose(self, given: Open) -> str:
        """Take a new reading in."""
        self.made += 1
        name = f"P{self.made}"
        self.open[name] = self._whole(given)
        self.happened(Proposed((self._value(name),)))
        return name

    def change(self, name: str, given: Open) -> None:
        """Give a proposal another value."""
        self.open[name] = replace(self._whole(given), revision=self.open[name].revision + 1)
        self.happened(Changed(self._value(name)))

    def meant(self, axis: str) -> None:
        """Mention the insulation test."""
        self.happened(TestMeant(axis, self.gates[axis]))

    def _whole(self, given: Open) -> Open:
        reading, doubts = completed(given.reading, given.doubts, self.axes, range_end_known=True)
        return replace(given, reading=reading, doubts=doubts)

    def _value(self, name: str) -> Value:
        one = self.open[name]
        gated = one.reading.axis if is_gated(one.reading) else None
        return Value(name, one.revision, gated, self.said_twice and one.heard_once)

    def _confirmed(self, values: tuple[Value, ...]) -> None:
        for value in values:
            one = self.open[value.proposal]
            if one.doubts:  # as `check_confirmable`
                self.counts.questions += 1
                self.counts.words += len(self.question().split())
                return
            # The laws, held here too: exactly what was read back, and no value before its safety steps.
            self.counts.broken += value.revision != one.revision or bool(value.gated and self.gates[value.gated])
            self.counts.readings += 1
            self.counts.wrong += one.reading.quantity != one.truth.quantity
            self.counts.words += 1  # "Recorded."
            del self.open[value.proposal]
            self.happened(Settled(value.proposal))

    def _answered(self, put: PutAnswer) -> None:
        self.counts.words += len(answer_words(put).split())
        cabinet = next(step.cabinet for step in STEPS if step.id == put.step)
        for axis in self.axes if cabinet else (put.axis,):
            left = set(self.gates[axis]) - {put.step} if put.met else {*self.gates[axis], put.step}
            self.gates[axis] = tuple(step.id for step in STEPS if step.id in left)
