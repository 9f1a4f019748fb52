"""Proof: verify everything against the trail."""

from __future__ import annotations

from fastapi import APIRouter

from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep

router = APIRouter(prefix="/api", tags=["proof"])


@router.get("/verify")
def verify(workspace: WorkspaceDep) -> JsonObject:
    """Check database, trail, head, rows, evidence and reports; `result` is "intact" or "changed"."""
    return workspace.verify().to_json()
