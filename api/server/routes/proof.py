"""Proof: verify everything against the trail."""

from __future__ import annotations

from fastapi import APIRouter

from api.ledger.canonical import JsonObject
from api.server.routes import HeavyDep, WorkspaceDep

router = APIRouter(prefix="/api", tags=["proof"])


@router.get("/verify")
async def verify(workspace: WorkspaceDep, heavy: HeavyDep) -> JsonObject:
    """Check database, trail, head, rows, evidence and reports; `result` is "intact" or "changed"."""
    return await heavy.run(lambda: workspace.verify().to_json())
