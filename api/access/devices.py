"""Paired devices: rows with entries of the trail. A device proves itself by a token of which only the hash is kept."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass

from sqlmodel import Session, select

from api.access.codes import Grant
from api.access.errors import NoSuchDevice
from api.access.roles import Role
from api.ledger.canonical import JsonObject
from api.ledger.clock import parse_instant
from api.ledger.database import Database
from api.ledger.device_table import DeviceRow
from api.ledger.trail import What

TOKEN_BYTES = 32
"""Random bytes of a token."""

LIFE = dt.timedelta(days=180)
"""How long a pairing lasts (program's rule); after that the device is paired anew."""


@dataclass(frozen=True)
class Device:
    """A paired device.

    Attributes:
        id: "device-1".
        name: What its user calls it.
        person: Who works with it.
        role: What it may do.
        paired_at: UTC instant.
        revoked_at: UTC instant; empty while it is paired.
        token_sha256: Hash of its token.
    """

    id: str
    name: str
    person: str
    role: Role
    paired_at: str
    revoked_at: str
    token_sha256: str

    def counts(self, now: dt.datetime) -> bool:
        """Tell whether it may come in: neither revoked nor too old."""
        return not self.revoked_at and now - parse_instant(self.paired_at) < LIFE

    def to_json(self) -> JsonObject:
        """Give it as the page shows it."""
        return {
            "id": self.id,
            "name": self.name,
            "person": self.person,
            "role": self.role.value,
            "paired_at": self.paired_at,
            "revoked_at": self.revoked_at,
        }


def token_hash(token: str) -> str:
    """Give the hash that a token is kept as."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _device(row: DeviceRow) -> Device:
    return Device(row.id, row.name, row.person, Role(row.role), row.paired_at, row.revoked_at, row.token_sha256)


def all_devices(session: Session) -> list[Device]:
    """List every device that was ever paired, oldest first."""
    rows = session.exec(select(DeviceRow)).all()
    return sorted((_device(row) for row in rows), key=lambda one: int(one.id.rpartition("-")[2]))


def pair_device(database: Database, name: str, person: str, grant: Grant) -> tuple[Device, str]:
    """Put a device on record; returns it and its token, which is kept nowhere else.

    Args:
        database: Where.
        name: What its user calls it.
        person: Who works with it; the one of the grant counts where it names one.
        grant: What its code gave.

    Raises:
        EntryNotWritten: The disk is full or refuses.
    """
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with database.write() as transaction:
        row = DeviceRow(
            id=f"device-{len(all_devices(transaction.session)) + 1}",  # rows are never deleted
            name=name,
            person=grant.person or person,
            role=grant.role.value,
            token_sha256=token_hash(token),
            paired_at=transaction.now,
            revoked_at="",
        )
        transaction.put(row)
        transaction.entry(What.DEVICE_PAIRED, by=row.person, note={"device": row.id, "role": row.role})
    return _device(row), token


def revoke_device(database: Database, device_id: str, by: str = "") -> Device:
    """End a pairing.

    Args:
        database: Where.
        device_id: "device-1".
        by: Who ends it; empty at the laptop itself.

    Raises:
        NoSuchDevice: There is none, or it was revoked before.
    """
    with database.write() as transaction:
        row = transaction.session.get(DeviceRow, device_id)
        if row is None or row.revoked_at:
            raise NoSuchDevice(device_id=device_id)
        row.revoked_at = transaction.now
        transaction.put(row)
        transaction.entry(What.DEVICE_REVOKED, by=by, note={"device": row.id})
    return _device(row)
