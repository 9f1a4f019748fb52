"""The safety steps of an axis: what is asked, what was answered."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from api.server.routes.sent import SentDep
from api.visit.jobs import axis_of, job_of
from api.visit.plain_text import PlainText
from api.visit.safety import StepReply, safety_for_page

router = APIRouter(prefix="/api/jobs/{job_id}/axes/{axis}/safety", tags=["safety"])


class SafetyReply(BaseModel):
    """One answer to one step."""

    model_config = ConfigDict(extra="forbid")

    step: Annotated[PlainText, Field(max_length=60)]
    answer: Literal["yes", "no", "not_applicable"]
    value: Annotated[PlainText, Field(max_length=20)] | None = Field(None, description="Measured value, V")
    note: Annotated[PlainText, Field(max_length=400)] = ""
    evidence_sha256: Annotated[PlainText, Field(max_length=64)] | None = None
    how: Literal["tapped", "typed"] = "tapped"
    captured_at: Annotated[PlainText, Field(max_length=40)] | None = None


@router.get("")
def show_safety(workspace: WorkspaceDep, job_id: str, axis: str) -> JsonObject:
    """Show all steps of an axis with their newest answers; `open` names those that hold insulation values back."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return safety_for_page(session, axis_of(session, job_id, axis))


@router.post("", status_code=201)
def answer_safety(workspace: WorkspaceDep, sent: SentDep, job_id: str, axis: str, body: SafetyReply) -> JsonObject:
    """Answer one step."""
    reply = StepReply(answer=body.answer, value=body.value, note=body.note, evidence_sha256=body.evidence_sha256)
    return workspace.answer_safety(
        job_id, axis, {body.step: reply}, how=body.how, captured_at=body.captured_at, sent=sent
    )
