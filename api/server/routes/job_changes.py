"""A job corrected, closed, reopened, archived; and the pictures that belong to it: plates and a logo."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, UploadFile
from pydantic import BaseModel, ConfigDict, Field

from api.ledger.canonical import JsonObject
from api.ledger.evidence import MAX_BYTES
from api.server.routes import HeavyDep, WorkspaceDep
from api.server.routes.sent import SentDep
from api.visit.editing import JobEdit, editable
from api.visit.jobs import job_of
from api.visit.pictures import picture_for_page, pictures_of
from api.visit.plain_text import PlainJson, PlainText

router = APIRouter(prefix="/api/jobs", tags=["jobs"])

Ids = Annotated[list[Annotated[PlainText, Field(max_length=80)] | None], Field(max_length=40)]
Reason = Annotated[PlainText, Field(max_length=400)]
When = Annotated[PlainText, Field(max_length=40)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")


class EditBody(_Body):
    """A whole description as it shall be, as `GET …/description` gives it, changed.

    Attributes:
        axis_ids: For each axis, the id of the one on record; null for one that is added.
        instrument_ids: The same for each instrument.
        revision: As it was given; another means that somebody else changed the job.
    """

    description: PlainJson
    axis_ids: Ids
    instrument_ids: Ids
    revision: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    reason: Reason = ""
    captured_at: When | None = None


class MoveBody(_Body):
    """What becomes of the job as a whole: "close", "reopen", "archive" or "restore"."""

    move: Annotated[PlainText, Field(max_length=20)]
    reason: Reason = ""
    captured_at: When | None = None


@router.get("/{job_id}/description")
def show_description(workspace: WorkspaceDep, job_id: str) -> JsonObject:
    """Show a job's description as it stands, in the form in which an edit takes it."""
    with workspace.database.read() as session:
        return editable(session, job_id)


@router.post("/{job_id}/description")
def edit(workspace: WorkspaceDep, job_id: str, sent: SentDep, body: EditBody) -> JsonObject:
    """Correct a job, its axes and instruments, or add some; what was before stays on record. Once for each id."""
    given = JobEdit(body.description, body.axis_ids, body.instrument_ids, body.revision, body.reason)
    return workspace.desk.edit(job_id, given, body.captured_at, sent)


@router.post("/{job_id}/state")
def move(workspace: WorkspaceDep, job_id: str, sent: SentDep, body: MoveBody) -> JsonObject:
    """Close, reopen, archive a job or bring it back. Once for each id."""
    return workspace.desk.move(job_id, body.move, body.reason, body.captured_at, sent)


class WhyBody(_Body):
    """Why an axis is withdrawn or reinstated, in a person's words."""

    reason: Reason = ""
    captured_at: When | None = None


@router.post("/{job_id}/axes/{axis}/withdraw")
def withdraw_axis(workspace: WorkspaceDep, job_id: str, axis: str, sent: SentDep, body: WhyBody) -> JsonObject:
    """Let an axis that was added by mistake, and of which nothing was measured, count no more. Once for each id."""
    return workspace.desk.withdraw_axis(job_id, axis, body.reason, body.captured_at, sent)


@router.post("/{job_id}/axes/{axis}/reinstate")
def reinstate_axis(workspace: WorkspaceDep, job_id: str, axis: str, sent: SentDep, body: WhyBody) -> JsonObject:
    """Let a withdrawn axis count again. Once for each id."""
    return workspace.desk.reinstate_axis(job_id, axis, body.reason, body.captured_at, sent)


@router.get("/{job_id}/pictures")
def show_pictures(workspace: WorkspaceDep, job_id: str) -> list[JsonObject]:
    """List the plates and the logo of a job that count; their bytes are evidence."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        return [picture_for_page(row) for row in pictures_of(session, job_id)]


@router.post("/{job_id}/pictures", status_code=201, max_body_size=MAX_BYTES["photo"] + 100_000)
async def put_picture(
    workspace: WorkspaceDep,
    heavy: HeavyDep,
    job_id: str,
    file: UploadFile,
    use: Annotated[PlainText, Form(max_length=20)],
    subject: Annotated[PlainText, Form(max_length=40)] = "",
    captured_at: Annotated[PlainText | None, Form(max_length=40)] = None,
) -> JsonObject:
    """Keep a nameplate, an instrument's plate or a logo; it is evidence, and never read as a display."""
    data = await file.read()
    return await heavy.run(lambda: workspace.desk.picture(job_id, use, subject, data, captured_at))


class TakeAwayBody(_Body):
    """Which picture counts no more."""

    use: Annotated[PlainText, Field(max_length=20)]
    subject: Annotated[PlainText, Field(max_length=40)] = ""


@router.post("/{job_id}/pictures/away")
def take_away(workspace: WorkspaceDep, job_id: str, body: TakeAwayBody) -> JsonObject:
    """Let a picture count no more; the file stays as evidence."""
    return workspace.desk.picture(job_id, body.use, body.subject, None)
