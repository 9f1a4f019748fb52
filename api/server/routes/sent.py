"""The id under which a device sends an action, so that one sent again is done once and answered alike."""

from __future__ import annotations

import hashlib
from typing import Annotated

from fastapi import Depends, Header, Request

from api.ledger.clock import parse_instant
from api.ledger.sent import SentAction


async def _sent(
    request: Request,
    idempotency_key: Annotated[
        str | None,
        Header(min_length=8, max_length=64, pattern="^[A-Za-z0-9_.:-]+$", description="The action's own unique id."),
    ] = None,
    ohmtrail_sent_at: Annotated[
        str | None, Header(max_length=40, description="The device's time of sending, with offset.")
    ] = None,
) -> SentAction | None:
    """Give the action as it was sent; None where it bears no id.

    Raises:
        BadTime: The time of sending cannot be read.
    """
    if idempotency_key is None:
        return None
    if ohmtrail_sent_at:
        parse_instant(ohmtrail_sent_at)
    asked = f"{request.method} {request.url.path}\n".encode() + await request.body()
    return SentAction(
        client_id=idempotency_key,
        request_sha256=hashlib.sha256(asked).hexdigest(),
        status=getattr(request.scope.get("route"), "status_code", None) or 200,
        sent_at=ohmtrail_sent_at or "",
    )


SentDep = Annotated[SentAction | None, Depends(_sent)]
"""The action as it was sent under an id of its own, or None."""
