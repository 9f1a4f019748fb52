"""Pairing: a device shows a code and gets its token; who asks; a device that leaves."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.requests import HTTPConnection

from api.access.devices import Device
from api.access.errors import LanOff
from api.access.guests import Guests
from api.access.roles import Role
from api.ledger.canonical import JsonObject
from api.server.gate import cookie_for
from api.server.limits import client_of
from api.visit.plain_text import PlainText

router = APIRouter(prefix="/api", tags=["pairing"])


def _guests(connection: HTTPConnection) -> Guests:
    guests = connection.app.state.guests
    if not isinstance(guests, Guests):
        raise LanOff()
    return guests


GuestsDep = Annotated[Guests, Depends(_guests)]
"""The paired devices; a server that speaks to its own machine only has none (`LanOff`)."""


def _device(connection: HTTPConnection) -> Device | None:
    found = connection.scope.get("state", {}).get("device")
    return found if isinstance(found, Device) else None


DeviceDep = Annotated[Device | None, Depends(_device)]
"""The paired device that asks; None at the machine itself."""


class PairBody(BaseModel):
    """What a device says to be paired."""

    model_config = ConfigDict(extra="forbid")

    code: Annotated[PlainText, Field(min_length=1, max_length=20)] = Field(description="As the laptop shows it.")
    device: Annotated[PlainText, Field(min_length=1, max_length=60)] = Field(description="What to call it.")
    person: Annotated[PlainText, Field(min_length=1, max_length=60)] = Field(
        description="Who works with it; the name given at the laptop counts where there is one."
    )


@router.post("/pair", status_code=201)
def pair(guests: GuestsDep, request: Request, response: Response, body: PairBody) -> JsonObject:
    """Pair this device by a one-time code; its token comes in a cookie that no script can read.

    Raises:
        LanOff: The server speaks to its own machine only, where nothing needs pairing.
        CodeWrong, TooManyTries: The code is none.
    """
    client = client_of(request.client.host if request.client else None)
    device, token = guests.pair(body.code, client, body.device, body.person)
    response.headers["Set-Cookie"] = cookie_for(token)
    return device.to_json()


@router.get("/access")
def show_access(request: Request, device: DeviceDep) -> JsonObject:
    """Show who asks: the device with person and role, or none at the machine itself; and whether phones can come in."""
    return {
        "lan": isinstance(request.app.state.guests, Guests),
        "device": None if device is None else device.to_json(),
        "role": (Role.TECHNICIAN if device is None else device.role).value,
    }


@router.post("/access/leave")
def leave(guests: GuestsDep, response: Response, device: DeviceDep) -> JsonObject:
    """End this device's own pairing; at the machine itself there is none to end."""
    if device is not None:
        guests.revoke(device.id, device.person)
        response.headers["Set-Cookie"] = cookie_for("")
    return {"left": device is not None}
