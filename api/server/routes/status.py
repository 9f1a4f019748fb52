"""How busy the server is: captures that wait to be read, and the time from stored to read of the last ones."""

from __future__ import annotations

from fastapi import APIRouter

from api.ledger.canonical import JsonObject
from api.server.routes import QueueDep

router = APIRouter(prefix="/api", tags=["status"])


@router.get("/status")
def show_status(queue: QueueDep) -> JsonObject:
    """Show how many captures wait, how long the last ones took from stored to read, and how long the wait may be, s."""
    return {"queue": queue.status()}
