"""One turn of the conversation: the state before it, what was done, what is said next; written once at its end.

What a turn works on is read and decoded once, when it begins: the job, the context, the open proposals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sqlmodel import Session

from api.dialogue.errors import NoDialogue
from api.errors import OhmtrailError
from api.ledger.canonical import JsonObject, canonical, parsed
from api.ledger.database import Transaction
from api.ledger.tables import DialogueStateRow
from api.ledger.trail import What
from api.visit.cautions import Caution
from api.visit.jobs import Job, read_job
from api.visit.proposals import Proposal, proposal_for_page, proposals_of
from api.visit.readings import context_from_json, context_to_json
from api.visit.records import Record, record_for_page
from capture.expectation import Expectation
from capture.language.prompts import answered_by
from capture.reading import Context
from grading.shop import ShopProfile


@dataclass
class Turn:
    """What one input led to.

    Attributes:
        transaction: The writing transaction that the whole turn is part of.
        job: The job with its axes and instruments.
        context: Where the work stands, as it will hold afterwards.
        asking: The proposals read back last, each with the revision that was read back.
        state: The row that holds where the conversation stands.
        waiting: The job's open proposals, oldest first; those made in this turn come last.
        profile: The shop's own limits, which the test plan follows too; None for the published ones.
        said: Sentences to speak, in order.
        proposals: Proposals made or changed.
        records: Records made.
        withdrawn: Ids of records withdrawn.
        action: What the page should do: "photo" opens the camera; empty otherwise.
        cautions: What a photo warns of.
        problem: Why what was asked for did not happen, if it did not.
    """

    transaction: Transaction
    job: Job
    context: Context
    asking: list[tuple[str, int]]
    state: DialogueStateRow
    waiting: list[Proposal]
    profile: ShopProfile | None = None
    said: list[str] = field(default_factory=list)
    proposals: list[Proposal] = field(default_factory=list)
    records: list[Record] = field(default_factory=list)
    withdrawn: list[str] = field(default_factory=list)
    action: str = ""
    cautions: list[Caution] = field(default_factory=list)
    problem: OhmtrailError | None = None

    @property
    def session(self) -> Session:
        """The transaction's session."""
        return self.transaction.session

    def say(self, sentence: str) -> None:
        """Speak a sentence at the end of the turn."""
        self.said.append(sentence)

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
        """Read proposals back; what is answered next is about them and about no other."""
        # With the revision: a value that changes after it was read back is not the one that a "confirm" answers.
        self.asking = [(proposal.id, proposal.revision) for proposal in proposals]
        self.said += [proposal.question for proposal in proposals]

    def asked(self) -> list[Proposal]:
        """Give the open proposals that were read back last."""
        waiting = {proposal.id: proposal for proposal in self.waiting if proposal.is_open}
        return [waiting[proposal_id] for proposal_id, _ in self.asking if proposal_id in waiting]

    def ask_next_open(self) -> None:
        """Ask, after an answer, about the newest proposal that is still open, if any."""
        still = [proposal for proposal in self.waiting if proposal.is_open]
        self.asking = []
        if still:
            self.say("Still open:")
            self.ask(still[-1:])

    def close(self) -> None:
        """Write where the conversation stands and what is said; the last entry of the turn."""
        message = " ".join(self.said)
        self.state.context_json = canonical(context_to_json(self.context))
        self.state.asking_json = canonical([[proposal_id, revision] for proposal_id, revision in self.asking])
        self.state.message = message
        self.state.updated_at = self.transaction.now
        self.transaction.put(self.state)
        self.transaction.entry(What.ASKED, self.job.id, note={"message": message})

    def for_page(self) -> JsonObject:
        """Give the turn as the page shows and speaks it."""
        return {
            "message": " ".join(self.said),
            "action": self.action,
            "cautions": [{"code": caution.code, "sentence": caution.sentence} for caution in self.cautions],
            "proposals": [proposal_for_page(proposal) for proposal in self.proposals],
            "records": [record_for_page(record) for record in self.records],
            "withdrawn": [*self.withdrawn],
            "problem": None if self.problem is None else {**self.problem.to_json()},
        }


def begin_turn(transaction: Transaction, job_id: str, profile: ShopProfile | None = None) -> Turn:
    """Take up the conversation of a job where it stands.

    Raises:
        NoSuchJob: There is no such job.
        NoDialogue: Its conversation is missing.
    """
    session = transaction.session
    job = read_job(session, job_id)
    state = session.get(DialogueStateRow, job_id)
    if state is None:
        raise NoDialogue(job_id=job_id)
    asking = [(str(proposal_id), int(revision)) for proposal_id, revision in parsed(state.asking_json)]
    context = context_from_json(parsed(state.context_json))
    return Turn(transaction, job, context, asking, state, proposals_of(session, job_id, "open"), profile)


def context_of(session: Session, job_id: str) -> Context:
    """Tell where the work of a job stands: what has been said and still holds, and what was asked."""
    state = session.get(DialogueStateRow, job_id)
    if state is None:
        return Context()
    # The recogniser determines from the job's axes whether a letter that was said can be one.
    axes = read_job(session, job_id).axis_names
    return replace(context_from_json(parsed(state.context_json)), axes=axes, expects=_expectation(session, state))


def _expectation(session: Session, state: DialogueStateRow) -> Expectation:
    """Tell what can come now, from what was read back last."""
    ids = {str(proposal_id) for proposal_id, _ in parsed(state.asking_json)}
    asked = [proposal for proposal in proposals_of(session, state.job_id, "open") if proposal.id in ids]
    if not asked:
        return Expectation()
    values = (choice.quantity for one in asked for choice in one.choices)
    return Expectation(answered_by(asked[-1].doubts), tuple(dict.fromkeys(values)))
