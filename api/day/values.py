"""The values of a day: what was said follows on from what was said before, and photos join the words beside them.

All of it is a function of what was heard and seen, by the times of the devices; nothing is written here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from api.day.announced import said_job, said_time, written
from api.day.circumstances import Circumstances, correct_beside
from api.day.jobs import JobAxes, JobPlan
from api.day.places import PlaceTrust, Stretch, plainly_talk
from api.dialogue.beside import takes_coming
from api.dialogue.proposal_updates import merged
from api.dialogue.turn import OLD_CONTEXT_S
from api.visit.notes import Notes, notes_with
from api.visit.proposals import ProposedReading
from capture.carrying import can_carry
from capture.completeness import STRUCTURAL, fits
from capture.language.dictation import dictated
from capture.language.parse import parse
from capture.reading import Command, Context, Doubt, Heard, Reading, Utterance, Word
from capture.speech.confidence import ConfidenceModel
from capture.speech.memo import Span
from capture.speech.understand import understand, with_pauses

TAKEN_BACK_S = 30.0
"""Words that take a value back must follow it within this, s (program's rule)."""

NEW_MEMO_S = 300.0
"""A recording that begins within this of the last words of another one goes on with it, s (program's rule)."""


@dataclass(frozen=True)
class SpokenAt:
    """An utterance of a recording at its instant.

    Attributes:
        instant: When its first word was said, by the day's common clock.
        memo: SHA-256 of the recording.
        span: The utterance.
    """

    instant: dt.datetime
    memo: str
    span: Span


@dataclass
class DayValue:
    """A value that was spoken.

    Attributes:
        spoken: Where.
        job: The job, or None where nobody can tell.
        given: The reading with what speaks against taking it as it is.
        text: The words.
        stretch: The values that stand or fall with it as to their place.
    """

    spoken: SpokenAt
    job: JobAxes | None
    given: ProposedReading
    text: str
    stretch: Stretch

    @property
    def instant(self) -> dt.datetime:
        """When it was said."""
        return self.spoken.instant

    @property
    def reading(self) -> Reading:
        """The reading."""
        return self.given.reading


@dataclass
class Passage:
    """Where the work stood at an instant: for photos that belong to no spoken value."""

    instant: dt.datetime
    job: JobAxes | None
    context: Context


@dataclass
class DaySpoken:
    """What was understood of a day's recordings.

    Attributes:
        values: In order of time.
        passages: Where the work stood after each utterance that meant something.
        passed_over: How many utterances meant nothing: talk, calls, radio.
        unused: Circumstances that were said and that no value took, as they were heard.
    """

    values: list[DayValue] = field(default_factory=list)
    passages: list[Passage] = field(default_factory=list)
    passed_over: int = 0
    unused: list[str] = field(default_factory=list)


def understood(spoken: Sequence[SpokenAt], plan: JobPlan, model: ConfidenceModel) -> DaySpoken:
    """Understand utterances one after the other, each in the light of those before.

    Args:
        spoken: In order of time.
        plan: The jobs that can be meant.
        model: Gives the probability that an utterance was understood rightly.
    """
    follower = _Follower(plan, model)
    for one in spoken:
        follower.take(one)
    follower.end()
    for value in follower.found.values:
        if value.stretch.unsure:
            value.given = replace(value.given, doubts=(*value.given.doubts, Doubt.PLACE_UNSURE))
    return follower.found


class _Follower:
    """Follows the work through a day."""

    def __init__(self, plan: JobPlan, model: ConfidenceModel) -> None:
        self._plan, self._model = plan, model
        self._context = Context()
        self._job: JobAxes | None = None
        self._last: dt.datetime | None = None
        self._paused = False
        self._memo: str | None = None
        self._trust = PlaceTrust()
        self._noted = Circumstances()
        self._placed: dt.datetime | None = None
        self.found = DaySpoken()

    def end(self) -> None:
        """Settle what still waits for a value."""
        self._noted.moved_on()
        self.found.unused = self._noted.unused

    def _left(self) -> None:
        """Trust neither place nor circumstances any more: the work went on elsewhere, or after a break."""
        self._trust.lost()
        self._noted.moved_on()

    def take(self, spoken: SpokenAt) -> None:
        """Take the next utterance."""
        job = self._plan.at(spoken.instant) or self._job
        if self._plan.windows and job != self._job:
            self._context = Context()
            self._left()
        self._job = job
        if spoken.memo != self._memo and self._since(spoken.instant) > NEW_MEMO_S:
            self._left()  # whoever begins a recording after a break says where
        self._memo = spoken.memo
        if self._last is not None and (spoken.instant - self._last).total_seconds() > OLD_CONTEXT_S:
            self._context = Context(axis=self._context.axis)
            self._left()
        if self._announced(spoken.span.heard):
            return
        heard, axes = spoken.span.heard, self._plan.axes(job)
        utterance = self._understand(heard, job, axes)
        if self._steered(utterance, spoken) or self._paused:
            return
        before, after = self._context, utterance.context
        if after.axis is not None and after.axis != before.axis:
            found = self._plan.of_axis(after.axis, job)
            if found is None and after.axis not in axes:
                self._pass_over(heard)
                return
            if found != self._job:
                self._noted.moved_on()
            self._job = found
        self._context = replace(after, axes=())
        readings = [reading for reading in utterance.readings if fits(reading)]
        placed = self._named(utterance, before, axes)
        alone = utterance.beside.anything and not utterance.readings
        if not readings and self._context == before and not placed and not alone:
            self._pass_over(heard)
            return
        self._last = spoken.instant
        if placed or self._context != before:
            self._placed = spoken.instant
        if alone:
            self._noted.said_alone(utterance.beside, heard.text, self._since_place(spoken))
        self._values(utterance, readings, spoken, heard)
        self.found.passages.append(Passage(spoken.instant, self._job, self._context))

    def _announced(self, heard: Heard) -> bool:
        """Go on at a job that is announced, unless the batch has one; True where words told that, or the time."""
        text = written(heard)
        if said_time(text) is not None:  # no reading; the clocks are compared by it (`api.day.batch`)
            return True
        named = None if self._plan.windows else said_job(text, self._plan.announced())
        if named is None:
            return False
        if self._job is None or self._job.id != named:
            self._job, self._context = self._plan.by_id(named), Context()
            self._left()
        return True

    def _since(self, instant: dt.datetime) -> float:
        """Tell how long ago anything was understood, s."""
        return float("inf") if self._last is None else (instant - self._last).total_seconds()

    def _pass_over(self, heard: Heard) -> None:
        """Count words that meant nothing; where they may have named a place, the one before holds no more."""
        self.found.passed_over += 1
        if not plainly_talk(heard):
            self._trust.lost()

    def _named(self, utterance: Utterance, before: Context, axes: tuple[str, ...]) -> bool:
        """Take note of a place or setting that was said in so many words; False where none was, or too doubtfully."""
        if Doubt.UNKNOWN_WORDS in utterance.doubts:
            return False
        alone, now = Context(axes=axes), self._context
        if now == before and not utterance.readings:  # said once more, or misheard for it: judged without what held
            said = understand(utterance.heard, alone, self._model).context
        else:
            said = parse(utterance.heard.text, alone).context
        if said == alone or now.axis != (said.axis or now.axis) or now.section != (said.section or now.section):
            return False
        if said.axis is None and "axis" in utterance.heard.text.replace("_", " ").split():
            self._trust.lost()  # some axis was named
        moved = now.axis != before.axis
        same = not moved and now.section == before.section and not utterance.readings
        self._trust.named(said.axis, said.section, moved=moved, same=same)
        return True

    def _understand(self, heard: Heard, job: JobAxes | None, axes: tuple[str, ...]) -> Utterance:
        """Understand words by the axes of the present job, and by all where they mean nothing to that."""
        own = axes if job is None else tuple(job.said)
        utterance = as_dictated(understand(heard, replace(self._context, axes=own), self._model), self._context, own)
        meant = utterance.readings or utterance.beside.anything or utterance.context != self._context
        if own == axes or meant:
            return utterance
        other = as_dictated(understand(heard, replace(self._context, axes=axes), self._model), self._context, axes)
        return other if other.context.axis not in (self._context.axis, *own) else utterance

    def _steered(self, utterance: Utterance, spoken: SpokenAt) -> bool:
        """Obey what can be obeyed in a recording: stop and go on listening, take back what was just said."""
        if utterance.command in (Command.PAUSE, Command.RESUME) and not utterance.doubts:
            self._paused = utterance.command is Command.PAUSE
            return True
        if utterance.beside.anything and utterance.command is Command.CORRECT and not utterance.readings:
            last = self._recent(spoken)
            if last is not None and not self._paused:
                correct_beside(last, utterance.beside, utterance.heard.text)
            return True
        if utterance.command is Command.UNDO and not self._paused and self._noted.taken_back():
            return True
        back = utterance.command in (Command.REJECT, Command.UNDO)
        back = back or (utterance.command is Command.CORRECT and not utterance.readings)
        if back and not utterance.readings and not self._paused:
            last = self._recent(spoken)
            if last is not None:  # never dropped for a word that may have been talk: it is asked about
                last.given = replace(last.given, doubts=(*last.given.doubts, Doubt.LOW_CONFIDENCE))
            return True
        return False

    def _recent(self, spoken: SpokenAt) -> DayValue | None:
        values = self.found.values
        near = bool(values) and (spoken.instant - values[-1].instant).total_seconds() <= TAKEN_BACK_S
        return values[-1] if near else None

    def _since_place(self, spoken: SpokenAt) -> DayValue | None:
        """Give the value said just before, unless a place was named after it."""
        last = self._recent(spoken)
        return None if last is None or (self._placed is not None and self._placed > last.instant) else last

    def _values(self, utterance: Utterance, readings: list[Reading], spoken: SpokenAt, heard: Heard) -> None:
        last, took = self._recent(spoken), False
        for index, reading in enumerate(readings):
            given = self._given(utterance, index, reading, several=len(readings) > 1)
            if utterance.command is Command.CORRECT and last is not None and index == 0:
                said = merged(reading, last.reading)
                notes = notes_with(last.given.notes or Notes(), utterance.beside)
                last.given = replace(given, reading=said if fits(said) else given.reading, notes=notes)
                last.text = f"{last.text}, {heard.text}"
                last.spoken = spoken
                continue
            given, text = self._noted.given(given, heard.text, utterance.beside)
            stretch = self._trust.took(given.reading, self._job, spoken.instant, given.notes or Notes())
            self.found.values.append(DayValue(spoken, self._job, given, text, stretch))
            took = took or takes_coming(given.reading)
        if took:
            self._noted.taken()

    def _given(self, utterance: Utterance, index: int, reading: Reading, *, several: bool) -> ProposedReading:
        """Give a reading with its doubts; a test carried forward that cannot show its unit is left out."""
        if not can_carry(reading.kind, reading.quantity):
            alone = parse(utterance.heard.text, Context(axes=utterance.context.axes)).readings
            if not (index < len(alone) and alone[index].kind is not None):
                reading = replace(reading, kind=None, test_voltage_set=None)
        others = utterance.alternatives
        if several:
            others = tuple(other for other in others if replace(other, quantity=reading.quantity) == reading)
        doubts = tuple(doubt for doubt in utterance.doubts if doubt is not Doubt.CONFLICT)
        names = self._job.said if self._job is not None else {}
        own = replace(reading, axis=names.get(reading.axis or "", reading.axis))
        named = tuple(replace(other, axis=names.get(other.axis or "", other.axis)) for other in others)
        return ProposedReading(own, doubts, named, utterance.confidence)


def as_dictated(utterance: Utterance, context: Context, axes: tuple[str, ...]) -> Utterance:
    """Give what an utterance means with the words that go without saying in dictation; how sure it is stays.

    Args:
        utterance: As understood from the words that were heard; one that was too doubtful stays as it is.
        context: What held before.
        axes: What can be said for an axis.
    """
    heard = utterance.heard
    words = [word.word for word in heard.words]
    wanted = dictated(words, context, axes)
    if wanted == words or (not utterance.readings and Doubt.LOW_CONFIDENCE in utterance.doubts):
        return utterance
    whole = replace(heard, words=_with_added(heard.words, wanted))
    again = parse(replace(whole, text=with_pauses(whole)), replace(context, axes=axes))
    kept = [doubt for doubt in utterance.doubts if doubt not in STRUCTURAL]
    others = [other.quantity for other in utterance.alternatives]
    placed = [replace(again.readings[0], quantity=quantity) for quantity in others] if len(again.readings) == 1 else []
    return replace(
        again,
        heard=heard,
        confidence=utterance.confidence,
        doubts=tuple(dict.fromkeys([*again.doubts, *kept])),
        alternatives=tuple(dict.fromkeys([*placed, *again.alternatives])),
    )


def _with_added(words: Sequence[Word], wanted: Sequence[str]) -> tuple[Word, ...]:
    """Put added words between the heard ones, each at the end of the word before it, as sure as that."""
    out: list[Word] = []
    waiting = list(words)
    for text in wanted:
        if waiting and waiting[0].word == text:
            out.append(waiting.pop(0))
        else:
            beside = out[-1] if out else waiting[0]
            out.append(Word(text, beside.end, beside.end, beside.confidence))
    return tuple(out)
