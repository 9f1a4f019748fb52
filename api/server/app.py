"""The server: routes under /api, the page, errors as JSON, nothing reachable from the internet.

Every route's work is blocking (disk, database, recognition) and runs in threads, so one slow clip never stops others.
"""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version
from threading import Thread

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.middleware.body_limit import RequestBodyLimitMiddleware

from api.errors import OhmtrailError
from api.server.host_check import HostCheck
from api.server.routes import evidence, jobs, listen, profiles, proof, proposals, records, safety
from api.server.web import router as page
from api.settings import Settings
from api.workspace import Workspace

MAX_BODY = 1_000_000
"""Largest request body, bytes; the evidence route allows more (see `api.server.routes.evidence`)."""

log = logging.getLogger(__name__)

_WHAT_TO_DO = {
    404: "Check the address.",
    405: "Use another method.",
    413: "Send less; nothing was stored.",
}


def _answer(status: int, code: str, message: str, what_to_do: str) -> JSONResponse:
    return JSONResponse({"code": code, "message": message, "what_to_do": what_to_do}, status_code=status)


def _own(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, OhmtrailError)
    return JSONResponse(error.to_json(), status_code=error.status)


def _invalid(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    places = [f"{'.'.join(str(part) for part in one['loc'][1:]) or 'body'}: {one['msg']}" for one in error.errors()]
    return _answer(422, "bad_request", "; ".join(places[:5]) + ".", "Correct the request and send it again.")


def _http(_request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    what_to_do = _WHAT_TO_DO.get(error.status_code, "Correct the request and send it again.")
    return _answer(error.status_code, f"http_{error.status_code}", f"{error.detail}.", what_to_do)


def _unexpected(request: Request, error: Exception) -> JSONResponse:
    log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    return _answer(500, "internal", "The server failed at this.", "Try again; what was acknowledged is kept.")


def _too_deep(_request: Request, _error: Exception) -> JSONResponse:
    return _answer(400, "too_deep", "The JSON is nested too deeply.", "Send plain, flat JSON.")


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Read what a crash left unread, in the background; close the database at the end."""
    workspace: Workspace = app.state.workspace
    # A daemon: many clips may wait, and a stop of the server need not; what is unread then is read at the next start.
    Thread(target=workspace.intake.resume, name="resume", daemon=True).start()
    yield
    workspace.close()


def create_app(workspace: Workspace, settings: Settings | None = None) -> FastAPI:
    """Build the server over an open workspace."""
    settings = settings or Settings()
    app = FastAPI(
        title="Ohmtrail",
        summary="Hears and reads measurements, asks for confirmation, grades them, and keeps an audit trail.",
        version=version("ohmtrail"),
        lifespan=_lifespan,
        telemetry={"tracing": False, "metrics": False},  # nothing about a visit is reported anywhere
        docs_url=None,  # FastAPI's page loads its scripts from elsewhere; the description is at /openapi.json
        redoc_url=None,
    )
    app.state.workspace = workspace
    for module in (jobs, evidence, proposals, records, profiles, safety, proof, listen):
        app.include_router(module.router)
    app.include_router(page)
    app.add_exception_handler(OhmtrailError, _own)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RecursionError, _too_deep)
    app.add_exception_handler(Exception, _unexpected)
    app.add_middleware(RequestBodyLimitMiddleware, max_body_size=MAX_BODY)
    app.add_middleware(
        HostCheck, hosts=settings.hosts
    )  # added last, so outermost: it also words what the limit refuses
    return app
