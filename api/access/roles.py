"""What each role may ask for."""

from __future__ import annotations

from enum import Enum

from api.access.errors import BadRole, LaptopOnly, ReaderMayNot
from api.errors import OhmtrailError


class Role(Enum):
    """What a paired device may do: work on jobs, or look at them."""

    TECHNICIAN = "technician"
    READER = "reader"


READING = ("GET", "HEAD")

LAPTOP_ONLY = ("/api/devices",)
"""Addresses, and all below them, for the machine itself alone: where devices are paired and revoked."""

OPEN: frozenset[tuple[str, str]] = frozenset(
    {
        ("GET", "/pair"),
        ("POST", "/api/pair"),
        ("GET", "/page/pair.js"),
        ("GET", "/page/dom.js"),
        ("GET", "/page/page.css"),
        ("GET", "/page/icon.svg"),
    }
)
"""What an unpaired device may ask for: the pairing page, what it is made of, and the pairing itself. No data in any."""


def role_of(text: str) -> Role:
    """Read a role.

    Raises:
        BadRole: There is none of this name.
    """
    try:
        return Role(text)
    except ValueError:
        raise BadRole(role=text) from None


def is_open(method: str, path: str) -> bool:
    """Tell whether an unpaired device may ask this."""
    return ("GET" if method == "HEAD" else method, path) in OPEN


def refusal(role: Role, method: str, path: str) -> OhmtrailError | None:
    """Tell why a paired device may not ask this over the network; None where it may.

    Args:
        role: The device's.
        method: HTTP method; empty for the opening of a WebSocket.
        path: Decoded path.
    """
    if any(path == one or path.startswith(f"{one}/") for one in LAPTOP_ONLY):
        return LaptopOnly()
    if role is Role.READER and method not in READING and (method, path) != ("POST", "/api/access/leave"):
        return ReaderMayNot()
    return None
