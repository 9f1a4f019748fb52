"""The shop's own limits: a TOML file read once, with the canonical text and hash by which findings name it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from api.assessment.errors import (
    ShopProfileInvalid,
    ShopProfileNoText,
    ShopProfileNoToml,
    ShopProfileTooLarge,
    ShopProfileUnread,
)
from api.ledger.canonical import canonical, sha256_hex
from grading.shop import ShopProfile, ShopProfileError, read_profile

MAX_BYTES = 1_000_000
"""Largest profile read, bytes."""


@dataclass(frozen=True)
class Shop:
    """A shop profile in force.

    Attributes:
        profile: As grading takes it.
        content: What the file holds, as plain data; `grading.shop.read_profile` of it gives `profile` again.
        sha256: SHA-256 of the canonical JSON of `content`.
    """

    profile: ShopProfile
    content: dict[str, Any]
    sha256: str


def _plain(value: Any) -> Any:
    """Give TOML as canonical JSON can hold it: decimal fractions and dates as text."""
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if isinstance(value, (date, datetime, time)):
        return value.isoformat()
    return str(value) if isinstance(value, float) else value


def shop_of(data: dict[str, Any]) -> Shop:
    """Check a shop profile given as parsed TOML.

    Raises:
        ProfileError: It holds problems; the message lists all.
    """
    content = _plain(data)
    return Shop(read_profile(data), content, sha256_hex(canonical(content)))


def read_shop(path: Path) -> Shop:
    """Read a shop profile.

    Args:
        path: TOML file; see `grading.shop` for its layout.

    Raises:
        ShopProfileUnusable: The file is missing, too large, no UTF-8, no TOML, or names what no shop may set.
    """
    try:
        if path.stat().st_size > MAX_BYTES:
            raise ShopProfileTooLarge(path=path, most=MAX_BYTES)
        return shop_of(tomllib.loads(path.read_text("utf-8")))
    except OSError as error:
        raise ShopProfileUnread(path=path, cause=error.strerror) from None
    except UnicodeDecodeError:
        raise ShopProfileNoText(path=path) from None
    except tomllib.TOMLDecodeError as error:
        raise ShopProfileNoToml(path=path, cause=str(error)) from None
    except ShopProfileError as error:
        raise ShopProfileInvalid(path=path, cause=str(error)) from None
