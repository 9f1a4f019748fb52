"""One turn of the conversation: the state before it, what was done, what is said next; written once at its end.

What a turn works on is read and decoded once, when it begins: the job, the context, the open proposals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sqlmodel import Session

from api.dialogue.attention import seconds_to_rest
from api.dialogue.errors import NoDialogue
from api.dialogue.events import (
    Ask,
    Changed,
    Effect,
    Event,
    Proposed,
    Question,
    SafetyQuestion,
    Tell,
    TestMeant,
    Value,
    ValueQuestion,
)
from api.dialogue.machine import advance
from api.dialogue.sentences import note_words, safety_words
from api.dialogue.standing import Discharge, Standing, standing_from_json, standing_to_json
from api.errors import OhmtrailError
from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.clock import parse_instant, seconds_between
from api.ledger.database import Transaction
from api.ledger.tables import DialogueStateRow
from api.ledger.trail import What
from api.visit.cautions import Caution
from api.visit.jobs import Job, read_job
from api.visit.notes import Notes
from api.visit.proposals import Proposal, proposal_for_page, proposals_of
from api.visit.readings import context_from_json, context_to_json
from api.visit.records import Record, record_for_page
from api.visit.safety import is_gated, open_steps
from api.visit.safety_steps import STEP_BY_ID
from capture.expectation import Asked, Expectation
from capture.language.axis_names import spoken_names
from capture.language.prompts import answered_by
from capture.language.prompts import question as asked_in_full
from capture.language.short import short_question
from capture.reading import Context
from grading.shop import ShopProfile

OLD_CONTEXT_S = 1800
"""Seconds without a word after which test, part, point and voltage are no longer taken for granted (program's rule)."""


LEFT_OPEN_S = 4 * 3600
"""Seconds after which a question that nobody answered comes after newer ones: half a shift (program's rule)."""


@dataclass
class Turn:
    """What one input led to.

    Attributes:
        transaction: The writing transaction that the whole turn is part of.
        job: The job with its axes and instruments.
        context: Where the work stands, as it will hold afterwards.
        standing: The questions that wait, and what else the dialogue remembers.
        state: The row that holds where the conversation stands.
        captured_at: The device's time of the input.
        waiting: The job's open proposals, oldest first; those made in this turn come last.
        profile: The shop's own limits, which the test plan follows too; None for the published ones.
        said: Sentences to show, in order.
        spoken: The same as they are spoken, a read-back in its short form.
        in_full: The read-back was asked for at length.
        asks: The open question is to be read at the end of the turn.
        tone: What the page sounds: "heard", "confirmed", "not_understood", "asking"; empty for nothing.
        begun_with: The question that was open before.
        proposals: Proposals made or changed.
        records: Records made.
        withdrawn: Ids of records withdrawn.
        action: What the page should do: "photo" opens the camera; empty otherwise.
        cautions: What a photo warns of.
        problem: Why what was asked for did not happen, if it did not.
        heeded: The input was taken as meant for the tool.
    """

    transaction: Transaction
    job: Job
    context: Context
    standing: Standing
    state: DialogueStateRow
    waiting: list[Proposal]
    captured_at: str
    profile: ShopProfile | None = None
    said: list[str] = field(default_factory=list)
    spoken: list[str] = field(default_factory=list)
    in_full: bool = False
    asks: bool = False
    tone: str = ""
    begun_with: Question | None = None
    proposals: list[Proposal] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)
    withdrawn: list[str] = field(default_factory=list)
    action: str = ""
    cautions: list[Caution] = field(default_factory=list)
    problem: OhmtrailError | None = None
    heeded: bool = True

    @property
    def session(self) -> Session:
        """The transaction's session."""
        return self.transaction.session

    def say(self, sentence: str, spoken: str | None = None) -> None:
        """Say a sentence, spoken otherwise than shown where that is given."""
        self.said.append(sentence)
        self.spoken.append(sentence if spoken is None else spoken)

    def happened(self, event: Event, open_steps: Mapping[str, tuple[str, ...]] | None = None) -> tuple[Effect, ...]:
        """Tell the machine what happened.

        Returns:
            What is to be carried out, in order; what the machine says and asks before that is noted already.
        """
        self.standing.state, effects = advance(self.standing.state, event, open_steps)
        for index, effect in enumerate(effects):
            if not self.tell(effect):
                return effects[index:]
        return ()

    def tell(self, effect: Effect) -> bool:
        """Note what is to be said or asked; False for any other effect."""
        if isinstance(effect, Tell):
            self.say(note_words(effect.note, effect.axis))
        elif isinstance(effect, Ask):
            self.asks = True
        else:
            return False
        return True

    def test_meant(self, axis: str) -> None:
        """Ask the safety questions of an axis on which an insulation test was mentioned, as far as they are open."""
        steps = self.steps_open(axis)
        if steps:
            self.happened(TestMeant(axis, steps))

    def steps_open(self, axis: str, moment: str | None = None) -> tuple[str, ...]:
        """Give the ids of the safety steps that are open for an axis, at the time of the input or at another."""
        if axis not in self.job.axis_names:
            return ()
        steps = open_steps(self.session, self.job.id, self.job.axis_id(axis), moment or self.captured_at)
        return tuple(step.id for step in steps)

    def value_of(self, proposal: Proposal) -> Value:
        """Give a proposal as the machine knows it."""
        gated = proposal.reading.axis if is_gated(proposal.reading) else None
        return Value(proposal.id, proposal.revision, gated, self.standing.twice and proposal.heard_once)

    def say_twice(self, wanted: bool) -> None:
        """Have values that were heard once only confirmed by saying them again, or by a word as usual."""
        if wanted == self.standing.twice:
            return
        self.standing.twice = wanted
        self.transaction.entry(What.CONFIRMATION_SET, self.job.id, by=self.job.technician, note={"said_twice": wanted})
        known = {value.proposal for value in self._values()}
        for proposal in self.waiting:
            if proposal.id in known:
                self.happened(Changed(self.value_of(proposal)))
        self.asks = self.standing.state.open is not None

    def rest_between(self, wanted: bool) -> None:
        """Have the job come to rest between readings, or listen to everything as usual."""
        if wanted == self.standing.rests:
            return
        self.standing.rests = wanted
        self.transaction.entry(What.ATTENTION_SET, self.job.id, by=self.job.technician, note={"rests": wanted})

    @property
    def at_rest(self) -> bool:
        """Tell whether the job was at rest when the input came."""
        return seconds_to_rest(self.standing, self.captured_at) == 0

    def discharging(self, axis: str, seconds: int) -> None:
        """Count the discharge of an axis down from now, s."""
        self.standing.discharge = Discharge(axis, seconds, self.transaction.now)

    def warn(self, cautions: list[Caution]) -> None:
        """Warn before anything else is said."""
        self.cautions += cautions
        for caution in cautions:
            self.say(caution.sentence)

    def refuse(self, problem: OhmtrailError) -> None:
        """Say why something did not happen, and note it in the trail."""
        self.problem = problem
        self.say(f"{problem.message} {problem.remedy}")
        note = {"code": problem.code, "why": str(problem)}
        self.transaction.entry(What.CONFIRM_REFUSED, self.job.id, by=self.job.technician, note=note)

    def keep(self, what: What, proposal: Proposal, *, by: str = "", note: Mapping[str, object] | None = None) -> None:
        """Store a proposal that was made or changed, with its entry of the trail; the answer will name it."""
        self.transaction.put(proposal.stored())
        self.transaction.entry(what, self.job.id, by=by, note=note)
        self.touch(proposal)
        if proposal.is_open and proposal not in self.waiting:
            self.waiting.append(proposal)

    def touch(self, proposal: Proposal) -> None:
        """Name a proposal in the answer."""
        if proposal not in self.proposals:
            self.proposals.append(proposal)

    def ask(self, proposals: list[Proposal]) -> None:
        """Have proposals read back: new ones as one question at the end of the queue, known ones where they stand."""
        known = {value.proposal for value in self._values()}
        new = tuple(self.value_of(proposal) for proposal in proposals if proposal.id not in known)
        if new:
            self.happened(Proposed(new, self._left_open()))
        for proposal in proposals:
            if proposal.id in known:
                # With the revision: a value that changes after it was read back is not the one that "confirm" answers.
                self.happened(Changed(self.value_of(proposal)))
        if not proposals:
            self.asks = True
        # The gate stands before the test: whoever names a value under test voltage is asked at once.
        for axis in dict.fromkeys(self.value_of(proposal).gated for proposal in proposals):
            if axis is not None:
                self.test_meant(axis)

    def _left_open(self) -> frozenset[str]:
        """Give the proposals that nobody answered when they were new, and that are asked about after newer ones."""
        ages = ((one.id, seconds_between(one.row.changed_captured, self.captured_at)) for one in self.waiting)
        return frozenset(name for name, age in ages if age > LEFT_OPEN_S)

    def _values(self) -> list[Value]:
        questions = self.standing.state.questions
        return [value for question in questions if isinstance(question, ValueQuestion) for value in question.values]

    def asked(self) -> list[Proposal]:
        """Give the open proposals that the open question is about."""
        question = self.standing.state.open
        if not isinstance(question, ValueQuestion):
            return []
        waiting = {proposal.id: proposal for proposal in self.waiting if proposal.is_open}
        return [waiting[value.proposal] for value in question.values if value.proposal in waiting]

    def spoken_too_early(self) -> bool:
        """Tell whether the input was spoken before the open question was asked: it answered something else."""
        asked_at = self.standing.asked_at
        return bool(asked_at) and seconds_between(asked_at, self.captured_at) < 0

    def _read_question(self) -> None:
        """Read the open question, once, after everything else."""
        question = self.standing.state.open
        if not self.asks or question is None or self.standing.state.paused:
            return
        self.asks = False
        self.tone = self.tone or "asking"
        # Never back for the same question: it stays asked when it was, whatever arrives late.
        if question != self.begun_with or not self.spoken_too_early():
            self.standing.asked_at = self.captured_at
        if isinstance(question, SafetyQuestion):
            self.say(safety_words(question))
            return
        twice = {value.proposal for value in question.values if value.twice}
        for proposal in self.asked():
            told = (proposal.reading, proposal.doubts, proposal.alternatives)
            noted, again = proposal.notes.words, proposal.id in twice
            full = asked_in_full(*told, twice=again, noted=noted)
            self.say(full, full if self.in_full else short_question(*told, twice=again, noted=noted))

    def close(self) -> None:
        """Write where the conversation stands and what is said; the last entry of the turn."""
        self._read_question()
        if not self.heeded:  # the conversation stands where it stood, and what was said last still shows
            self.transaction.entry(What.ASKED, self.job.id, note={"message": "", "heeded": False})
            return
        message = " ".join(self.said)
        if self.tone != "not_understood":
            before = self.standing.heeded_at  # what was sent late makes nothing older
            self.standing.heeded_at = max(before or self.captured_at, self.captured_at, key=parse_instant)
        self.state.context_json = canonical(context_to_json(self.context))
        self.state.asking_json = canonical(standing_to_json(self.standing))
        self.state.message = message
        self.state.updated_at = self.transaction.now
        self.transaction.put(self.state)
        self.transaction.entry(What.ASKED, self.job.id, note={"message": message})

    def for_page(self) -> JsonObject:
        """Give the turn as the page shows and speaks it."""
        self._read_question()
        return {
            "message": " ".join(self.said),
            "spoken": " ".join(self.spoken),
            "tone": self.tone,
            "heeded": self.heeded,
            "action": self.action,
            "cautions": [{"code": caution.code, "sentence": caution.sentence} for caution in self.cautions],
            "proposals": [proposal_for_page(proposal) for proposal in self.proposals],
            "records": [record_for_page(record) for record in self.records],
            "withdrawn": [*self.withdrawn],
            "problem": None if self.problem is None else {**self.problem.to_json()},
        }


def begin_turn(
    transaction: Transaction, job_id: str, profile: ShopProfile | None = None, captured_at: str | None = None
) -> Turn:
    """Take up the conversation of a job where it stands.

    Args:
        transaction: The writing transaction.
        job_id: The job.
        profile: The shop's own limits.
        captured_at: The device's time of the input; None for now.

    Raises:
        NoSuchJob: There is no such job.
        JobNotOpen: It is closed or archived.
        NoDialogue: Its conversation is missing.
    """
    session = transaction.session
    job = read_job(session, job_id, to_change=True)
    state = session.get(DialogueStateRow, job_id)
    if state is None:
        raise NoDialogue(job_id=job_id)
    standing = standing_from_json(parsed(state.asking_json))
    context = _held(state, transaction.now)
    if seconds_between(state.updated_at, transaction.now) > OLD_CONTEXT_S:
        standing.coming = Notes()
    waiting = proposals_of(session, job_id, "open")
    turn = Turn(transaction, job, context, standing, state, waiting, captured_at or transaction.now, profile)
    turn.begun_with = standing.state.open
    return turn


def _held(state: DialogueStateRow, now: str | None) -> Context:
    """Give the context as far as it still holds: after a long pause only the axis, the rest is asked anew."""
    context = context_from_json(parsed(state.context_json))
    if now is None or seconds_between(state.updated_at, now) <= OLD_CONTEXT_S:
        return context
    return Context(axis=context.axis)


def standing_of(session: Session, job_id: str) -> Standing:
    """Read where the dialogue of a job stands."""
    state = session.get(DialogueStateRow, job_id)
    return Standing() if state is None else standing_from_json(parsed(state.asking_json))


def context_of(session: Session, job_id: str, now: str | None = None) -> Context:
    """Tell where the work of a job stands: what has been said and still holds, and what was asked.

    Args:
        session: One consistent snapshot.
        job_id: The job.
        now: UTC instant, by which old context is left out; None to give it whatever its age.
    """
    state = session.get(DialogueStateRow, job_id)
    if state is None:
        return Context()
    # The recogniser determines from the job's axes whether a letter that was said can be one.
    axes = tuple(spoken_names(read_job(session, job_id).axis_names).values())
    return replace(_held(state, now), axes=axes, expects=_expectation(session, state))


def _expectation(session: Session, state: DialogueStateRow) -> Expectation:
    """Tell what can come now, from the question that is open."""
    question = standing_from_json(parsed(state.asking_json)).state.open
    if isinstance(question, SafetyQuestion):
        return Expectation(Asked.VOLTAGE if STEP_BY_ID[question.step].value_unit else Asked.ANSWER)
    ids = set() if question is None else {value.proposal for value in question.values}
    asked = [proposal for proposal in proposals_of(session, state.job_id, "open") if proposal.id in ids]
    if not asked:
        return Expectation()
    if isinstance(question, ValueQuestion) and any(value.twice for value in question.values) and not asked[-1].doubts:
        return Expectation(Asked.VALUE)  # without the value heard first, which must not help to hear it again
    values = (choice.quantity for one in asked for choice in one.choices)
    return Expectation(answered_by(asked[-1].doubts), tuple(dict.fromkeys(values)))
