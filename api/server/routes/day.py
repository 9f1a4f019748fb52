"""A day's memos and photos: dropped file by file, then taken in as `ohmtrail day` takes a folder in."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import HTTPConnection

from api.day.batch import DayWishes
from api.day.inbox import DayInbox
from api.day.sources import MOST_MEMO_BYTES
from api.ledger.canonical import JsonObject
from api.visit.plain_text import PlainText

router = APIRouter(prefix="/api/day", tags=["day"])


def _inbox(connection: HTTPConnection) -> DayInbox:
    inbox = connection.app.state.inbox
    assert isinstance(inbox, DayInbox)
    return inbox


InboxDep = Annotated[DayInbox, Depends(_inbox)]
"""What was dropped."""


class DayBody(BaseModel):
    """What a person says of the batch, once."""

    model_config = ConfigDict(extra="forbid")

    clock: Annotated[PlainText, Field(max_length=60)] | None = Field(None, description='"recorder +58min"')
    zone: Annotated[PlainText, Field(max_length=60)] | None = Field(None, description='"Europe/Berlin" or "+01:00"')
    jobs: Annotated[list[Annotated[PlainText, Field(max_length=20)]], Field(max_length=50)] = Field(
        default_factory=list, description='"J1", or "J1@13:00" and "J2@14:10"; else by the axes that are named.'
    )


@router.post("/files", status_code=201, max_body_size=MOST_MEMO_BYTES)
async def drop_file(request: Request, inbox: InboxDep, name: Annotated[PlainText, Query(max_length=200)]) -> JsonObject:
    """Keep one file of the batch; the body is the file itself."""
    return await inbox.keep(name, request.stream())


@router.post("", status_code=202)
def start_day(inbox: InboxDep, body: DayBody) -> JsonObject:
    """Take in what was dropped, in the background; `GET` tells how far it is."""
    return inbox.start(DayWishes(body.clock or None, body.zone or None, tuple(body.jobs)))


@router.get("")
def show_day(inbox: InboxDep) -> JsonObject:
    """Tell how far the batch is, how long it will take, and what became of each file that was not taken."""
    return inbox.status()
