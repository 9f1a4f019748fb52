"""Proposals: list, type one in, and answer them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from pydantic import AliasChoices, BaseModel, ConfigDict, Field

from api.server.routes import WorkspaceDep
from api.visit.jobs import job_of
from api.visit.notes import LONGEST_POSITION
from api.visit.proposals import proposal_for_page, proposals_of
from grading.measurement import Circumstance

router = APIRouter(prefix="/api", tags=["proposals"])

Text = Annotated[str, Field(max_length=60)]


class ReadingFields(BaseModel):
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
    position: Annotated[str, Field(max_length=LONGEST_POSITION)] | None = Field(
        None, description='Shaft or carrier position, e.g. "30°".'
    )
    circumstances: Annotated[list[Circumstance], Field(max_length=len(Circumstance))] | None = Field(
        None, description="What else was noted and bears on what the reading can prove."
    )

    def given(self) -> dict[str, Any]:
        """Only the fields that were sent."""
        return self.model_dump(exclude_unset=True, mode="json")


class Typed(ReadingFields):
    """A typed reading; what it leaves out is taken from where the work stands."""

    captured_at: Text | None = None
    supersedes: Text | None = Field(None, description="The record that it corrects.")


class AnswerBody(BaseModel):
    """A person's answer to a proposal."""

    model_config = ConfigDict(extra="forbid")

    revision: int | None = Field(None, ge=1, description="The revision that the person saw.")
    how: Literal["tapped", "typed"] = "tapped"
    captured_at: Text | None = None


class Confirm(AnswerBody):
    """Yes, exactly this revision is right."""

    revision: int = Field(ge=1, description="The revision that the person saw.")


class Correct(AnswerBody):
    """The fields that were wrong."""

    reading: ReadingFields | None = None
    instrument_id: Text | None = None


class Choose(AnswerBody):
    """One of the proposal's choices."""

    index: int = Field(ge=0, description="Place in the proposal's `choices`; 0 is the value as it stands.")


@router.get("/jobs/{job_id}/proposals")
def list_proposals(
    workspace: WorkspaceDep,
    job_id: str,
    state: Annotated[Literal["open", "confirmed", "rejected"] | None, Query()] = None,
) -> list[dict[str, Any]]:
    """A job's proposals, oldest first."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return [proposal_for_page(row) for row in proposals_of(session, job_id, state)]


@router.post("/jobs/{job_id}/typed", status_code=201)
def type_reading(workspace: WorkspaceDep, job_id: str, body: Typed) -> dict[str, Any]:
    """Propose a typed reading; like any other, it becomes a record only when it is confirmed."""
    reading = {name: value for name, value in body.given().items() if name not in ("captured_at", "supersedes")}
    return workspace.type_reading(job_id, reading, body.captured_at, body.supersedes)


@router.post("/proposals/{proposal_id}/confirm")
def confirm(workspace: WorkspaceDep, proposal_id: str, body: Confirm) -> dict[str, Any]:
    """Make a record of it. Refused while a doubt is open, or for insulation while safety steps are open."""
    return workspace.tap(proposal_id, "confirm", captured_at=body.captured_at, how=body.how, revision=body.revision)


@router.post("/proposals/{proposal_id}/correct")
def correct(workspace: WorkspaceDep, proposal_id: str, body: Correct) -> dict[str, Any]:
    """Change fields; the new value must be confirmed."""
    return workspace.tap(
        proposal_id,
        "correct",
        captured_at=body.captured_at,
        how=body.how,
        revision=body.revision,
        reading=body.reading.given() if body.reading is not None else {},
        instrument_id=body.instrument_id,
    )


@router.post("/proposals/{proposal_id}/choose")
def choose(workspace: WorkspaceDep, proposal_id: str, body: Choose) -> dict[str, Any]:
    """Take one of the alternatives; it must still be confirmed."""
    return workspace.tap(
        proposal_id, "choose", captured_at=body.captured_at, how=body.how, revision=body.revision, index=body.index
    )


@router.post("/proposals/{proposal_id}/reject")
def reject(workspace: WorkspaceDep, proposal_id: str, body: AnswerBody | None = None) -> dict[str, Any]:
    """Drop it; clip and photo are kept."""
    body = body or AnswerBody(revision=None)
    return workspace.tap(proposal_id, "reject", captured_at=body.captured_at, how=body.how, revision=body.revision)
