"""Proposals: list, type one in, and answer them."""

from __future__ import annotations

from typing import Annotated, Literal, cast

from fastapi import APIRouter, Query
from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from api.dialogue.actions import Choose, Confirm, Correct, Reject
from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from api.server.routes.sent import SentDep
from api.visit.jobs import job_of
from api.visit.notes import LONGEST_POSITION
from api.visit.plain_text import MOST_INTEGER, PlainText
from api.visit.proposals import proposal_for_page, proposals_of
from api.visit.readings import ReadingFields
from grading.terms.circumstance import Circumstance

router = APIRouter(prefix="/api", tags=["proposals"])

Text = Annotated[PlainText, Field(max_length=60)]


class ReadingBody(BaseModel):
    """A reading, or the fields of one that change (keys as of `Reading.to_json` and `api.visit.notes`)."""

    model_config = ConfigDict(extra="forbid")

    kind: Text | None = Field(
        None,
        validation_alias=AliasChoices("kind", "quantity"),
        description='What was measured, e.g. "insulation_resistance"; "quantity" is taken as well.',
    )
    value: Text | None = Field(None, description='The digits as the display shows them, e.g. "0.80".')
    unit: Text | None = Field(None, description='UCUM code, case sensitive, e.g. "MOhm".')
    qualifier: Text | None = None
    axis: Text | None = None
    section: Text | None = None
    terminals: Text | None = None
    test_voltage_set: Text | None = Field(None, description="V")
    test_voltage_built: Text | None = Field(None, description="V")
    elapsed_s: Text | None = Field(None, description="s")
    position: Annotated[PlainText, Field(max_length=LONGEST_POSITION)] | None = Field(
        None, description='Shaft or carrier position, e.g. "30°".'
    )
    circumstances: Annotated[list[Circumstance], Field(max_length=len(Circumstance))] | None = Field(
        None, description="What else was noted and bears on what the reading can prove."
    )

    def given(self) -> ReadingFields:
        """Give only the fields that were sent and belong to the reading."""
        sent = self.model_dump(exclude_unset=True, mode="json", include=set(ReadingFields.__annotations__))
        return cast("ReadingFields", sent)


class Typed(ReadingBody):
    """A typed reading; what it leaves out is taken from where the work stands."""

    captured_at: Text | None = None
    supersedes: Text | None = Field(None, description="The record that it corrects.")


class AnswerBody(BaseModel):
    """A person's answer to a proposal."""

    model_config = ConfigDict(extra="forbid")

    revision: int | None = Field(None, ge=1, le=MOST_INTEGER, description="The revision that the person saw.")
    how: Literal["tapped", "typed"] = "tapped"
    captured_at: Text | None = None


class ConfirmBody(AnswerBody):
    """Yes, exactly this revision is right."""

    revision: int = Field(ge=1, le=MOST_INTEGER, description="The revision that the person saw.")


class CorrectBody(AnswerBody):
    """The fields that were wrong."""

    reading: ReadingBody | None = None
    instrument_id: Text | None = None


class ChooseBody(AnswerBody):
    """One of the proposal's choices."""

    index: int = Field(
        ge=0, le=MOST_INTEGER, description="Place in the proposal's `choices`; 0 is the value as it stands."
    )


class OtherJobBody(AnswerBody):
    """The job that a value belongs to."""

    job_id: Text = Field(description='"J2"; it must be open.')


@router.get("/jobs/{job_id}/proposals")
def list_proposals(
    workspace: WorkspaceDep,
    job_id: str,
    state: Annotated[Literal["open", "confirmed", "rejected"] | None, Query()] = None,
) -> list[JsonObject]:
    """List a job's proposals, oldest first."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return [proposal_for_page(proposal) for proposal in proposals_of(session, job_id, state)]


@router.post("/jobs/{job_id}/typed", status_code=201)
def type_reading(workspace: WorkspaceDep, sent: SentDep, job_id: str, body: Typed) -> JsonObject:
    """Propose a typed reading; like any other, it becomes a record only when it is confirmed."""
    return workspace.type_reading(job_id, body.given(), body.captured_at, body.supersedes, sent)


@router.post("/proposals/{proposal_id}/confirm")
def confirm(workspace: WorkspaceDep, sent: SentDep, proposal_id: str, body: ConfirmBody) -> JsonObject:
    """Make a record of it. Refused while a doubt is open, or for insulation while safety steps are open."""
    return workspace.act(proposal_id, Confirm(body.revision), captured_at=body.captured_at, how=body.how, sent=sent)


@router.post("/proposals/{proposal_id}/correct")
def correct(workspace: WorkspaceDep, sent: SentDep, proposal_id: str, body: CorrectBody) -> JsonObject:
    """Change fields; the new value must be confirmed."""
    fields = None if body.reading is None else body.reading.given()
    action = Correct(fields, body.instrument_id, body.revision)
    return workspace.act(proposal_id, action, captured_at=body.captured_at, how=body.how, sent=sent)


@router.post("/proposals/{proposal_id}/choose")
def choose(workspace: WorkspaceDep, sent: SentDep, proposal_id: str, body: ChooseBody) -> JsonObject:
    """Take one of the alternatives; it must still be confirmed."""
    action = Choose(body.index, body.revision)
    return workspace.act(proposal_id, action, captured_at=body.captured_at, how=body.how, sent=sent)


@router.post("/proposals/{proposal_id}/reject")
def reject(workspace: WorkspaceDep, sent: SentDep, proposal_id: str, body: AnswerBody | None = None) -> JsonObject:
    """Drop it; clip and photo are kept."""
    body = body or AnswerBody(revision=None)
    return workspace.act(proposal_id, Reject(body.revision), captured_at=body.captured_at, how=body.how, sent=sent)


@router.post("/proposals/{proposal_id}/move")
def move(workspace: WorkspaceDep, sent: SentDep, proposal_id: str, body: OtherJobBody) -> JsonObject:
    """Move it to another job, where its place is asked about; `moved` of the answer is the proposal there."""
    return workspace.move(proposal_id, body.job_id, body.revision, captured_at=body.captured_at, sent=sent)
