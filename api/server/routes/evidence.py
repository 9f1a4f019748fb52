"""Evidence: send a clip or photo, see what is known of it, get its bytes back."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Response, UploadFile
from fastapi.responses import FileResponse
from pydantic import BaseModel, ConfigDict, Field

from api.intake.errors import NotAPhoto
from api.intake.photos import MOST_FRAMES, preview
from api.ledger.canonical import JsonObject
from api.ledger.evidence import MAX_BYTES, evidence_for_page, evidence_of
from api.server.routes import WorkspaceDep

router = APIRouter(prefix="/api", tags=["evidence"])

CONTENT_POLICY = "default-src 'none'; img-src 'self'; media-src 'self'; style-src 'unsafe-inline'; sandbox"
"""What was sent to us is shown, but nothing in it may run, load or reach our pages.

`sandbox` gives it an origin of its own, so that even a script that did run could not read from the routes.
"""


@router.post(
    "/jobs/{job_id}/evidence",
    status_code=201,
    max_body_size=max(MAX_BYTES.values()) + 100_000,
    summary="Send a clip or photo",
)
def send_evidence(
    workspace: WorkspaceDep,
    job_id: str,
    file: UploadFile,
    captured_at: Annotated[str | None, Form(max_length=40)] = None,
    client_id: Annotated[str | None, Form(max_length=64)] = None,
) -> JsonObject:
    """Store a clip or photo, read it, and answer with the proposals made of it and the sentence to speak.

    The kind is determined from the content. The file is on disk before anything tries to read it; one that cannot be
    read is kept as evidence, and `problem` says why. The same `client_id`, or the same bytes with the same
    `captured_at`, is answered again without doing anything twice.
    """
    # One byte more than allowed shows that it is too large, without reading all of it.
    data = file.file.read(max(MAX_BYTES.values()) + 1)
    return workspace.intake.take(job_id, data, captured_at or None, client_id or None)


@router.post(
    "/jobs/{job_id}/burst",
    status_code=201,
    max_body_size=MOST_FRAMES * MAX_BYTES["photo"] + 100_000,
    summary="Send several photos of one display",
)
def send_burst(
    workspace: WorkspaceDep,
    job_id: str,
    files: list[UploadFile],
    captured_at: Annotated[str | None, Form(max_length=40)] = None,
    client_id: Annotated[str | None, Form(max_length=64)] = None,
) -> JsonObject:
    """Store several photos of one display, read them as one, and answer as for one photo; all of them are kept.

    Photos that clearly show different values have not settled: nothing is proposed then.
    """
    frames = [file.file.read(MAX_BYTES["photo"] + 1) for file in files[: MOST_FRAMES + 1]]
    return workspace.intake.take_burst(job_id, frames, captured_at or None, client_id or None)


class Marked(BaseModel):
    """Where a person marked a display."""

    model_config = ConfigDict(extra="forbid")

    corners: Annotated[list[Annotated[list[float], Field(min_length=2, max_length=2)]], Field(max_length=4)] = Field(
        description="Four corners, clockwise from the display's own top left: shares of the upright photo's width and "
        "height, 0 to 1."
    )


@router.post("/jobs/{job_id}/evidence/{sha256}/corners")
def mark_corners(workspace: WorkspaceDep, job_id: str, sha256: str, body: Marked) -> JsonObject:
    """Read a photo again where a person marked the display; answers as for a photo that just came."""
    return workspace.intake.read_marked(job_id, sha256, body.corners)


@router.post("/captures/{capture_id}/read")
def read_again(workspace: WorkspaceDep, capture_id: str) -> JsonObject:
    """Read a clip or photo once more that could not be read; commands in it are not obeyed any more."""
    return workspace.intake.read_again(capture_id)


@router.get("/evidence/{sha256}")
def show_evidence(workspace: WorkspaceDep, sha256: str) -> JsonObject:
    """Show what is known of a stored file: type, size, arrivals, what was made of it, what was cut from it."""
    with workspace.database.read() as session:
        return evidence_for_page(session, evidence_of(session, sha256))


@router.get("/evidence/{sha256}/preview", response_class=Response)
def evidence_preview(workspace: WorkspaceDep, sha256: str) -> Response:
    """Show a photo upright and small, as JPEG, whatever type it is stored in."""
    with workspace.database.read() as session:
        row = evidence_of(session, sha256)
    if row.kind not in ("photo", "crop"):
        raise NotAPhoto()
    headers = {"Content-Security-Policy": CONTENT_POLICY, "Cache-Control": "private, max-age=31536000, immutable"}
    return Response(preview(workspace.evidence.read(sha256)), media_type="image/jpeg", headers=headers)


@router.get("/evidence/{sha256}/content", response_class=FileResponse)
def evidence_content(workspace: WorkspaceDep, sha256: str) -> FileResponse:
    """Send the bytes of a stored file, whole or in part (Range)."""
    with workspace.database.read() as session:
        row = evidence_of(session, sha256)
    # Fails here where the file is missing, with a sentence for the person; `FileResponse` has none.
    workspace.evidence.read(sha256)[:1]
    suffix = row.media_type.rpartition("/")[2].replace("octet-stream", "bin").replace("mpeg", "mp3")
    # What no list of ours knows is saved to a file, and never opened by the browser.
    shown = "attachment" if row.kind == "other" else "inline"
    headers = {
        "Content-Disposition": f'{shown}; filename="{row.kind}-{sha256[:12]}.{suffix}"',
        "Content-Security-Policy": CONTENT_POLICY,
        "Cache-Control": "private, max-age=31536000, immutable",
        "ETag": f'"{sha256}"',
    }
    return FileResponse(workspace.evidence.path(sha256), media_type=row.media_type, headers=headers)
