"""The table of paired devices; its rows are changed once, when a pairing ends, and never deleted."""

from __future__ import annotations

from typing import ClassVar

from sqlmodel import Field, SQLModel


class DeviceRow(SQLModel, table=True):
    """A device that was paired, from the network.

    Attributes:
        id: "device-1", ... in order of pairing.
        name: What its user calls it.
        person: Who works with it: "by" in what is done from it.
        role: `api.access.roles.Role` value: "technician" or "reader".
        token_sha256: Hash of its token, which only the device has.
        paired_at: UTC instant.
        revoked_at: UTC instant; empty while it is paired.
    """

    __tablename__: ClassVar[str] = "device"

    id: str = Field(primary_key=True)
    name: str
    person: str
    role: str
    token_sha256: str = Field(index=True)
    paired_at: str
    revoked_at: str
