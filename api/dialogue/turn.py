"""One turn of the conversation: where it stood, what was done, what is said next; written once at its end."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from sqlmodel import Session

from api.dialogue.errors import NoDialogue
from api.errors import OhmtrailError
from api.ledger.canonical import canonical, parsed
from api.ledger.database import Transaction
from api.ledger.tables import DialogueStateRow, JobRow, ProposalRow
from api.ledger.trail import What
from api.visit.cautions import Caution
from api.visit.jobs import axes_of
from api.visit.proposals import alternatives_of, doubts_of, proposal_for_page, proposal_of, proposals_of
from api.visit.readings import context_from_json, context_to_json, reading_of
from api.visit.records import record_for_page, record_of, standing
from capture.language.prompts import question
from capture.reading import Context
from grading.shop import ShopProfile


@dataclass
class Turn:
    """What one input led to.

    Attributes:
        transaction: The writing transaction that the whole turn is part of.
        job: The job.
        context: Where the work stands, as it will hold afterwards.
        said: Sentences to speak, in order.
        proposals: Ids of proposals made or changed.
        records: Ids of records made.
        withdrawn: Ids of records taken back.
        action: What the page should do: "photo" opens the camera; empty otherwise.
        cautions: What a photo warns of.
        problem: Why what was asked for did not happen, if it did not.
        profile: The shop's own limits, which the test plan follows too; None for the published ones.
    """

    transaction: Transaction
    job: JobRow
    context: Context
    asking: list[tuple[str, int]]
    state: DialogueStateRow
    said: list[str] = field(default_factory=list)
    proposals: list[str] = field(default_factory=list)
    records: list[str] = field(default_factory=list)
    withdrawn: list[str] = field(default_factory=list)
    action: str = ""
    cautions: list[Caution] = field(default_factory=list)
    problem: OhmtrailError | None = None
    profile: ShopProfile | None = None

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
        self.transaction.entry(
            What.CONFIRM_REFUSED, self.job.id, by=self.job.technician, note={"code": problem.code, "why": str(problem)}
        )

    def touched(self, row: ProposalRow) -> None:
        """Remember that a proposal was made or changed."""
        if row.id not in self.proposals:
            self.proposals.append(row.id)

    def ask(self, rows: list[ProposalRow]) -> None:
        """Read proposals back; what is answered next is about them and about no other."""
        self.asking = [(row.id, row.revision) for row in rows]
        for row in rows:
            self.say(question(reading_of(row), doubts_of(row), alternatives_of(row)))

    def asked(self) -> list[ProposalRow]:
        """The open proposals that were read back last."""
        rows = [proposal_of(self.session, proposal_id) for proposal_id, _ in self.asking]
        return [row for row in rows if row.state == "open"]

    def ask_next_open(self) -> None:
        """After an answer: ask about the newest proposal that is still open, if any."""
        still = proposals_of(self.session, self.job.id, "open")
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

    def for_page(self) -> dict[str, Any]:
        """The turn as the page shows and speaks it."""
        session = self.session
        states = standing(session, self.job.id) if self.records else {}
        return {
            "message": " ".join(self.said),
            "action": self.action,
            "cautions": [{"code": caution.code, "sentence": caution.sentence} for caution in self.cautions],
            "proposals": [proposal_for_page(proposal_of(session, proposal_id)) for proposal_id in self.proposals],
            "records": [record_for_page(record_of(session, found), states[found]) for found in self.records],
            "withdrawn": list(self.withdrawn),
            "problem": None if self.problem is None else self.problem.to_json(),
        }


def begin_turn(transaction: Transaction, job: JobRow, profile: ShopProfile | None = None) -> Turn:
    """Take up the conversation where it stands."""
    state = transaction.session.get(DialogueStateRow, job.id)
    if state is None:
        raise NoDialogue(job_id=job.id)
    asking = [(str(proposal_id), int(revision)) for proposal_id, revision in parsed(state.asking_json)]
    return Turn(transaction, job, context_from_json(parsed(state.context_json)), asking, state, profile=profile)


def context_of(session: Session, job_id: str) -> Context:
    """Where the work of a job stands: what has been said and still holds."""
    state = session.get(DialogueStateRow, job_id)
    if state is None:
        return Context()
    # What the job has is what a letter said as an axis can be.
    axes = tuple(axis.name for axis in axes_of(session, job_id))
    return replace(context_from_json(parsed(state.context_json)), axes=axes)
