"""Records: list them, withdraw one."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from api.server.routes.proposals import AnswerBody
from api.server.routes.sent import SentDep
from api.visit.jobs import job_of
from api.visit.records import all_records, record_for_page

router = APIRouter(prefix="/api", tags=["records"])


@router.get("/jobs/{job_id}/records")
def list_records(workspace: WorkspaceDep, job_id: str, current: Annotated[bool, Query()] = False) -> list[JsonObject]:
    """List a job's records in the order confirmed; with `current`, only those in force."""
    with workspace.database.read() as session:
        job_of(session, job_id)
        found = all_records(session, job_id)
        return [record_for_page(record) for record in found if record.status == "current" or not current]


@router.post("/records/{record_id}/withdraw")
def withdraw(workspace: WorkspaceDep, sent: SentDep, record_id: str, body: AnswerBody | None = None) -> JsonObject:
    """Withdraw a record by a new event; the record itself stays on file."""
    body = body or AnswerBody(revision=None)
    return workspace.withdraw(record_id, captured_at=body.captured_at, how=body.how, sent=sent)
