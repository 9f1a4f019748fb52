"""Proof: verify everything against the trail."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from api.ledger.canonical import JsonObject
from api.proof.words import printed_outside
from api.server.routes import HeavyDep, WorkspaceDep

router = APIRouter(prefix="/api", tags=["proof"])


@router.get("/verify")
async def verify(
    workspace: WorkspaceDep, heavy: HeavyDep, printed: Annotated[str, Query(max_length=200)] = ""
) -> JsonObject:
    """Check database, trail, head, rows, evidence and reports; `result` is "intact" or "changed".

    `printed` is what a printed report bears, its six words or its hash: where they stand is in `witnesses`, and that
    they are not on this chain in `problems`.

    Raises:
        PaperUnreadable: They are neither.
    """
    outside = printed_outside([printed] if printed.strip() else [])
    return await heavy.run(lambda: workspace.verify(outside).to_json())
