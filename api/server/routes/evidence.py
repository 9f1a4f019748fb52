"""Evidence: send a clip or photo, see what is known of it, get its bytes back."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from anyio.to_thread import run_sync
from fastapi import APIRouter, Form, Header, Request, Response, UploadFile
from fastapi.responses import FileResponse
from pydantic import BaseModel, ConfigDict, Field

from api.intake.errors import DamagedOnTheWay, NotAPhoto
from api.intake.photos import MOST_FRAMES, preview
from api.ledger.canonical import JsonObject, PlainData, sha256_hex
from api.ledger.evidence import MAX_BYTES, Stored, evidence_for_page, evidence_of
from api.server.reading_queue import ReadingQueue
from api.server.routes import HeavyDep, LimitsDep, QueueDep, WorkspaceDep
from api.visit.plain_text import PlainText

router = APIRouter(prefix="/api", tags=["evidence"])

CONTENT_POLICY = (
    "default-src 'none'; img-src 'self'; media-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"
)
"""What was sent to us is shown, but nothing in it may run, load or reach our pages."""


STORED: dict[int | str, dict[str, Any]] = {
    202: {"description": "On disk and synced, not read yet; Location says where to ask for what was made of it."}
}


def not_read_yet(response: Response, answer: PlainData) -> PlainData:
    """Make an answer say that a capture is stored and not read yet, and where to ask for the rest."""
    response.status_code = 202
    response.headers["Location"] = f"/api/captures/{answer['capture']}"
    return answer


def patience(prefer: str | None, *, is_long: bool) -> float | None:
    """Give how long a sender waits for its capture to be read, s; None for as long as it takes.

    Args:
        prefer: The Prefer header (RFC 7240): "respond-async", perhaps with "wait=10".
        is_long: Whether the queue is so long that nobody is kept waiting.
    """
    if is_long:
        return 0.0
    preferences = [part.strip().lower() for part in (prefer or "").split(",")]
    if "respond-async" not in preferences:
        return None
    given = [part.removeprefix("wait=") for part in preferences if part.startswith("wait=")]
    seconds = given[0] if given else "0"
    return float(seconds) if seconds.isascii() and seconds.isdigit() and len(seconds) <= 4 else 0.0


def still_waiting(answer: PlainData, queue: ReadingQueue) -> PlainData:
    """Give the answer for a capture that is stored and not read yet."""
    status = queue.status()
    said = f"Stored. {status['waiting']} wait to be read, about {status['expected_s']} s."
    return {**answer, "message": said, "queue": status}


@router.post(
    "/jobs/{job_id}/evidence",
    status_code=201,
    max_body_size=max(MAX_BYTES.values()) + 100_000,
    summary="Send a clip or photo",
    responses=STORED,
)
async def send_evidence(
    request: Request,
    response: Response,
    workspace: WorkspaceDep,
    queue: QueueDep,
    limits: LimitsDep,
    job_id: str,
    file: UploadFile,
    captured_at: Annotated[PlainText | None, Form(max_length=40)] = None,
    client_id: Annotated[PlainText | None, Form(max_length=64)] = None,
    sha256: Annotated[str | None, Form(pattern="^[0-9a-f]{64}$")] = None,
    utterance: Annotated[str, Form(pattern="^[A-Za-z0-9_.:-]{0,64}$")] = "",
    prefer: Annotated[str | None, Header(max_length=200)] = None,
) -> JsonObject:
    """Store a clip or photo, read it, and answer with the proposals made of it and the sentence to speak.

    The kind is determined from the content. The file is on disk before anything tries to read it; one that cannot be
    read is kept as evidence, and `problem` says why. The same `client_id`, or the same bytes with the same
    `captured_at`, is answered again without doing anything twice. `sha256` is the file's hash as the device has it:
    one that arrives otherwise is refused, and sent again. `utterance` names what was spoken live before the connection
    was lost: what was heard of it whole then is not heard again.

    With `Prefer: respond-async`, perhaps with `wait=10`, and whenever many captures wait, the answer comes before the
    reading: 202, the state "stored", and the address to ask for the rest. What was answered so is on disk and synced.
    """
    queue.check()
    is_long = queue.ahead() >= limits.long_queue

    def store() -> Stored:
        data = file.file.read(max(MAX_BYTES.values()) + 1)
        if sha256 is not None and len(data) <= max(MAX_BYTES.values()) and sha256_hex(data) != sha256:
            raise DamagedOnTheWay()
        return workspace.intake.store(job_id, data, captured_at or None)

    async with request.app.state.storing:
        stored = await run_sync(store)
    kept = await run_sync(
        lambda: workspace.intake.keep(job_id, stored, captured_at or None, client_id or None, utterance),
        limiter=request.app.state.arriving,
    )
    if kept["state"] != "stored":
        return kept
    waiting = queue.put(job_id, str(kept["capture"]))
    try:
        async with asyncio.timeout(patience(prefer, is_long=is_long)):
            answer = await asyncio.shield(asyncio.wrap_future(waiting.answer))
    except TimeoutError:
        return not_read_yet(response, still_waiting(kept, queue))
    if answer["state"] == "stored":  # the disk does not take what was read; it is read again
        return not_read_yet(response, {**answer, "repeated": kept["repeated"]})
    response.headers["Server-Timing"] = waiting.timing()
    return {**answer, "repeated": kept["repeated"]}


@router.get("/captures/{capture_id}")
def show_capture(workspace: WorkspaceDep, queue: QueueDep, capture_id: str) -> JsonObject:
    """Show what was made of a clip or photo, as the answer to its sending does; "stored" means not read yet."""
    _job, answer = workspace.intake.capture(capture_id)
    return still_waiting(answer, queue) if answer["state"] == "stored" else answer


@router.post(
    "/jobs/{job_id}/burst",
    status_code=201,
    max_body_size=MOST_FRAMES * MAX_BYTES["photo"] + 100_000,
    summary="Send several photos of one display",
    responses=STORED,
)
async def send_burst(
    response: Response,
    workspace: WorkspaceDep,
    queue: QueueDep,
    heavy: HeavyDep,
    job_id: str,
    files: list[UploadFile],
    captured_at: Annotated[PlainText | None, Form(max_length=40)] = None,
    client_id: Annotated[PlainText | None, Form(max_length=64)] = None,
) -> JsonObject:
    """Store several photos of one display, read them as one, and answer as for one photo; all of them are kept.

    Photos that clearly show different values have not settled: nothing is proposed then.
    """
    async with heavy.turn():
        frames = [await file.read(MAX_BYTES["photo"] + 1) for file in files[: MOST_FRAMES + 1]]
        answer = await run_sync(
            lambda: workspace.intake.take_burst(job_id, frames, captured_at or None, client_id or None)
        )
    if answer["state"] != "stored":
        return answer
    for capture_id in answer["burst"]["captures"]:
        queue.put_later(job_id, capture_id)
    return not_read_yet(response, answer)


class Marked(BaseModel):
    """Where a person marked a display."""

    model_config = ConfigDict(extra="forbid")

    corners: Annotated[list[Annotated[list[float], Field(min_length=2, max_length=2)]], Field(max_length=4)] = Field(
        description="Four corners, clockwise from the display's own top left: shares of the upright photo's width and "
        "height, 0 to 1."
    )


@router.post("/jobs/{job_id}/evidence/{sha256}/corners")
async def mark_corners(workspace: WorkspaceDep, heavy: HeavyDep, job_id: str, sha256: str, body: Marked) -> JsonObject:
    """Read a photo again where a person marked the display; answers as for a photo that just came."""
    return await heavy.run(lambda: workspace.intake.read_marked(job_id, sha256, body.corners))


@router.post("/captures/{capture_id}/read")
async def read_again(workspace: WorkspaceDep, heavy: HeavyDep, capture_id: str) -> JsonObject:
    """Read a clip or photo once more that could not be read; commands in it are not obeyed any more."""
    return await heavy.run(lambda: workspace.intake.read_again(capture_id))


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
