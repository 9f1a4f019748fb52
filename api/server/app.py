"""The server: routes under /api, the page, errors as JSON, nothing reachable from the internet.

Every route's work is blocking (disk, database, recognition) and runs in threads, so one slow clip never stops others.
"""

from __future__ import annotations

import json
import logging
import os
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version
from threading import Thread
from typing import Any

import anyio
from anyio import CapacityLimiter
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.middleware.body_limit import RequestBodyLimitMiddleware
from starlette.types import ASGIApp

from api.access.guests import Guests
from api.day.inbox import DayInbox
from api.errors import OhmtrailError
from api.ledger.sent import AnsweredBeforeError
from api.server.gate import AccessGate
from api.server.headers import retry_header
from api.server.host_check import HostCheck
from api.server.limits import ClientLimits
from api.server.reading_queue import ReadingQueue, workers_of
from api.server.routes import (
    day,
    devices,
    dialogue,
    evidence,
    finder,
    job_changes,
    jobs,
    listen,
    pairing,
    profiles,
    proof,
    proposals,
    records,
    safety,
    status,
)
from api.server.voice import Voice
from api.server.web import paths_of_page
from api.server.web import router as page
from api.settings import LOCAL_HOSTS, Limits, Settings
from api.workspace import Workspace

MAX_BODY = 1_000_000
"""Largest request body, bytes; the evidence route allows more (see `api.server.routes.evidence`)."""

log = logging.getLogger(__name__)

MOST_STORING = 4
"""How many uploads are held in memory and stored at the same time."""

MOST_ARRIVING = 64
"""How many stored files are put on record at the same time; they share transactions, and each holds but its hash."""

MOST_HEAVY = 2
"""How many of the requests that keep a core busy (reports, verification, several photos) run at the same time."""

KEEPING_S = 1.5
"""How long the end waits for what was being said on open connections to be kept, s."""

_WHAT_TO_DO = {
    404: "Check the address.",
    405: "Use another method.",
    413: "Send less; nothing was stored.",
}


class Answer(JSONResponse):
    """JSON in ASCII, so that half a character in what was sent cannot break the answer that refuses it."""

    def render(self, content: object) -> bytes:
        """Write the content."""
        return json.dumps(content, allow_nan=False, separators=(",", ":")).encode("ascii")


def _answer(status: int, code: str, message: str, what_to_do: str) -> JSONResponse:
    return Answer({"code": code, "message": message, "what_to_do": what_to_do}, status_code=status)


def _own(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, OhmtrailError)
    return Answer(error.to_json(), status_code=error.status, headers=retry_header(error))


def _again(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, AnsweredBeforeError)
    return Answer(error.answer, status_code=error.status)


def _invalid(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    places = [f"{'.'.join(str(part) for part in one['loc'][1:]) or 'body'}: {one['msg']}" for one in error.errors()]
    return _answer(422, "bad_request", "; ".join(places[:5]) + ".", "Correct the request and send it again.")


def _http(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    what_to_do = _WHAT_TO_DO.get(error.status_code, "Correct the request and send it again.")
    answer = _answer(error.status_code, f"http_{error.status_code}", f"{error.detail}.", what_to_do)
    answer.headers.update(error.headers or {})  # a 405 names the methods that there are
    return answer


def _unexpected(request: Request, error: Exception) -> JSONResponse:
    # %r, so that a line break in an address begins no line of its own in the log.
    log.error("%s %r failed", request.method, request.url.path, exc_info=error)
    return _answer(500, "internal", "The server failed at this.", "Try again; what was acknowledged is kept.")


def _too_deep(_request: Request, _error: Exception) -> JSONResponse:
    return _answer(400, "too_deep", "The JSON is nested too deeply.", "Send plain, flat JSON.")


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Read what a crash left unread, in the background; end the queue and close the database at the end."""
    workspace: Workspace = app.state.workspace
    limits: Limits = app.state.limits
    app.state.storing = storing = CapacityLimiter(MOST_STORING)
    app.state.arriving = arriving = CapacityLimiter(MOST_ARRIVING)
    app.state.queue = ReadingQueue(
        lambda capture_id, commands: workspace.intake.read_kept(capture_id, commands=commands),
        workers=workers_of(os.cpu_count()),
        most=limits.queue,
        pressed=lambda: storing.statistics().tasks_waiting > 0 or arriving.borrowed_tokens > MOST_STORING,
    )
    app.state.heavy = CapacityLimiter(MOST_HEAVY)
    Thread(target=workspace.intake.resume, name="resume", daemon=True).start()
    app.state.listening = set()
    yield
    end = time.monotonic() + KEEPING_S
    while app.state.listening and time.monotonic() < end:
        await anyio.sleep(0.05)
    app.state.queue.stop()
    workspace.close()


class Server(FastAPI):
    """The app behind the checks of names, origins and devices, which stand outside of everything, failures included."""

    def build_middleware_stack(self) -> ASGIApp:
        """Build the stack of the framework and put the checks around it."""
        guests: Guests | None = self.state.guests
        gate = AccessGate(super().build_middleware_stack(), guests)
        encrypted = frozenset if guests is None else lambda: guests.where.hosts() | self.state.more_hosts
        return HostCheck(gate, hosts=self.state.hosts, encrypted=encrypted)


class Refusal(BaseModel):
    """Why something was refused."""

    code: str = Field(description="Stays the same from version to version.")
    message: str = Field(description="What happened.")
    what_to_do: str


REFUSALS: dict[int | str, dict[str, Any]] = {
    "4XX": {"model": Refusal, "description": "Refused; the code says why."},
    "503": {"model": Refusal, "description": "No room at the moment; Retry-After says when to try again."},
    "507": {"model": Refusal, "description": "The disk is full or refuses."},
}


def create_app(workspace: Workspace, settings: Settings | None = None, guests: Guests | None = None) -> FastAPI:
    """Build the server over an open workspace.

    Args:
        workspace: The data folder, opened.
        settings: Names and limits.
        guests: The paired devices, where others than this machine can reach the server; None for this machine alone.
    """
    settings = settings or Settings()
    app = Server(
        title="Ohmtrail",
        summary="Hears and reads measurements, asks for confirmation, grades them, and keeps an audit trail.",
        version=version("ohmtrail"),
        lifespan=_lifespan,
        telemetry={"tracing": False, "metrics": False},  # nothing about a visit is reported anywhere
        docs_url=None,  # FastAPI's page loads its scripts from elsewhere; the description is at /openapi.json
        redoc_url=None,
        responses=REFUSALS,
    )
    app.state.workspace, app.state.limits, app.state.hosts = workspace, settings.limits, settings.hosts
    app.state.guests = guests
    app.state.more_hosts = frozenset(settings.hosts) - frozenset(LOCAL_HOSTS)
    app.state.voice = Voice()
    app.state.inbox = DayInbox(workspace, workers_of(os.cpu_count()))
    for module in (
        pairing,
        devices,
        jobs,
        job_changes,
        dialogue,
        evidence,
        finder,
        proposals,
        records,
        profiles,
        safety,
        proof,
        status,
        listen,
        day,
    ):
        app.include_router(module.router)
    app.include_router(page)
    app.add_exception_handler(OhmtrailError, _own)
    app.add_exception_handler(AnsweredBeforeError, _again)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RecursionError, _too_deep)
    app.add_exception_handler(Exception, _unexpected)
    app.add_middleware(RequestBodyLimitMiddleware, max_body_size=MAX_BODY)
    # Added last, so first: no body is read before its turn.
    app.add_middleware(ClientLimits, limits=settings.limits, page=paths_of_page())
    return app
