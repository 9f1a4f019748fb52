"""The dialogue: where it stands in every tab, the end of a lock-out, and a voice where the browser has none."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from api.dialogue.page import dialogue_for_page
from api.ledger.canonical import JsonObject
from api.ledger.clock import utc_text
from api.server.routes import HeavyDep, VoiceDep, WorkspaceDep
from api.server.routes.sent import SentDep
from api.server.voice import LONGEST_TEXT
from api.visit.plain_text import PlainText

router = APIRouter(prefix="/api", tags=["dialogue"])


class LockoutEnded(BaseModel):
    """Why the safety answers count no more."""

    model_config = ConfigDict(extra="forbid")

    reason: Literal["power_restored", "another_person"]
    name: Annotated[PlainText, Field(max_length=60)] = Field("", description="Who goes on.")
    captured_at: Annotated[PlainText, Field(max_length=40)] | None = None


class Confirmation(BaseModel):
    """How spoken values are confirmed."""

    model_config = ConfigDict(extra="forbid")

    said_twice: bool = Field(description="By saying them again, instead of by a word.")
    captured_at: Annotated[PlainText, Field(max_length=40)] | None = None


class Attention(BaseModel):
    """When a job listens to everything."""

    model_config = ConfigDict(extra="forbid")

    rests: bool = Field(description="Between readings only what is sure is obeyed.")
    captured_at: Annotated[PlainText, Field(max_length=40)] | None = None


@router.get("/jobs/{job_id}/dialogue")
def show_dialogue(workspace: WorkspaceDep, job_id: str) -> JsonObject:
    """Show where the dialogue stands: what was said last, the questions in order, what is left of a discharge."""
    with workspace.database.read() as session:
        return dialogue_for_page(session, job_id, utc_text(workspace.database.clock()))


@router.post("/jobs/{job_id}/lockout", status_code=201)
def end_lockout(workspace: WorkspaceDep, sent: SentDep, job_id: str, body: LockoutEnded) -> JsonObject:
    """Say that power was restored, or that another person goes on: every safety question is open again."""
    return workspace.end_lockout(job_id, body.reason, name=body.name, captured_at=body.captured_at, sent=sent)


@router.post("/jobs/{job_id}/confirmation", status_code=201)
def set_confirmation(workspace: WorkspaceDep, job_id: str, body: Confirmation) -> JsonObject:
    """Say how spoken values of a job are confirmed: by saying them again, which is the surer way, or by a word."""
    return workspace.say_twice(job_id, body.said_twice, captured_at=body.captured_at)


@router.post("/jobs/{job_id}/attention", status_code=201)
def set_attention(workspace: WorkspaceDep, job_id: str, body: Attention) -> JsonObject:
    """Say whether a job comes to rest between readings, so that talk nearby is not answered."""
    return workspace.rest_between(job_id, body.rests, captured_at=body.captured_at)


@router.get("/voice", response_class=Response, responses={200: {"content": {"audio/wav": {}}}})
async def speak(
    voice: VoiceDep, heavy: HeavyDep, text: Annotated[str, Query(min_length=1, max_length=LONGEST_TEXT)]
) -> Response:
    """Speak a sentence, as a WAV file.

    Raises:
        NoVoice: No speech program is installed on this machine.
    """
    sound = await heavy.run(lambda: voice.speak(text))
    return Response(sound, media_type="audio/wav", headers={"Cache-Control": "private, max-age=86400"})
