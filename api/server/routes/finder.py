"""The finder of the camera's view: where a display is in a small frame, and what to do until a photo of it can be read.

A frame is looked at and forgotten: it is no evidence, nothing of it is stored, and no entry of the trail stands for it.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Query

from api.intake.errors import FrameUnreadable, RecognisersBusy
from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from capture.errors import CaptureError

router = APIRouter(prefix="/api", tags=["finder"])

MOST_BYTES = 300_000
"""Largest frame, bytes: of 768 x 576 pixels the median has 24 kB, the noisiest 100 kB (JPEG, quality 70)."""

BUSY: JsonObject = {"code": "busy", "words": "", "corners": None, "digits": None, "sharpness": None,
                    "brightness": None, "glare": None}  # fmt: skip


@router.post("/finder", max_body_size=MOST_BYTES, summary="Find the display in a frame of the camera's view")
def find_display(
    workspace: WorkspaceDep,
    frame: Annotated[bytes, Body(media_type="image/jpeg")],
    width: Annotated[int, Query(ge=16, le=20_000, description="Of the photo that would be taken, px.")],
) -> JsonObject:
    """Tell where the display is in a frame, and what to do until a photo of it can be read.

    `code` is "good", "busy" (something else is being recognised: ask again) or what is wrong, `words` says what to do.
    `corners` are shares of the frame's width and height, clockwise from the display's own top left; `digits` is the
    height of its main digits as a share of the frame's; `sharpness`, `brightness` and `glare` are of its picture. Null
    where there is nothing to tell.

    Raises:
        FrameUnreadable: It cannot be decoded, or the engine failed; the code is its own.
    """
    try:
        return workspace.engines.aim(frame, width).to_json()
    except RecognisersBusy:
        return BUSY
    except CaptureError as problem:
        raise FrameUnreadable(problem=problem) from problem
