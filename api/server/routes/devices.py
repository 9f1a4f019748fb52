"""Devices, for the machine itself alone: list them, make a code for another, revoke one."""

from __future__ import annotations

from typing import Annotated, Literal

import segno
from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from api.access.codes import LIFE_S, Grant
from api.access.devices import all_devices
from api.access.guests import Guests, WhereToFind
from api.access.roles import role_of
from api.ledger.canonical import JsonObject
from api.server.routes import WorkspaceDep
from api.server.routes.pairing import GuestsDep
from api.visit.plain_text import PlainText

router = APIRouter(prefix="/api/devices", tags=["devices"])


def squares(text: str) -> list[str]:
    """Give a QR code as rows of "0" and "1", 1 for dark, with the quiet zone around (ISO/IEC 18004: four modules)."""
    code = segno.make_qr(text, error="m")
    return ["".join("1" if dark else "0" for dark in row) for row in code.matrix_iter(border=4)]


class CodeBody(BaseModel):
    """For whom a code is."""

    model_config = ConfigDict(extra="forbid")

    role: Literal["technician", "reader"] = "technician"
    person: Annotated[PlainText, Field(max_length=60)] = Field(
        "", description="Who will work with the device; empty where its user says so."
    )


@router.get("")
def list_devices(request: Request, workspace: WorkspaceDep) -> JsonObject:
    """List every device that was ever paired, and where phones find the server; without --lan they do so nowhere."""
    guests = request.app.state.guests
    where = guests.where if isinstance(guests, Guests) else WhereToFind()
    with workspace.database.read() as session:
        found = all_devices(session)
    trust_page = where.trust_page() if where.trust_port else ""
    return {
        "devices": [device.to_json() for device in found],
        "pages": [*where.pages()] if where.https_port else [],
        "trust_page": trust_page,
        "trust_squares": [*squares(trust_page)] if trust_page else [],
        "fingerprint": where.fingerprint,
    }


@router.post("/codes", status_code=201)
def make_code(guests: GuestsDep, body: CodeBody) -> JsonObject:
    """Make a one-time code that lives five minutes, with the address that a phone scans."""
    code = guests.codes.make(Grant(role_of(body.role), body.person))
    address = guests.where.pairing_page(code)
    return {"code": code, "lives_s": LIFE_S, "address": address, "squares": [*squares(address)]}


@router.post("/{device_id}/revoke")
def revoke(guests: GuestsDep, device_id: str) -> JsonObject:
    """End a pairing; the device's open connections end at once.

    Raises:
        NoSuchDevice: There is none, or it was revoked before.
    """
    return guests.revoke(device_id).to_json()
