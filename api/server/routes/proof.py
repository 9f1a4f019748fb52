"""Proof: verify everything against the trail."""

from __future__ import annotations

from fastapi import APIRouter

from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep

router = APIRouter(prefix="/api", tags=["proof"])


@router.get("/verify")
def verify(workspace: WorkspaceDep) -> JsonObject:
    """Check database, trail, head, rows, evidence, reports and findings.

    `result` is "intact", "changed", "missing" (no folder or database) or "unreadable"; `summary` says it in a sentence,
    `lag` counts the entries behind the one that the head file names.
    """
    return workspace.verify().to_json()
