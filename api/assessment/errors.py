"""What can be wrong with a shop profile."""

from __future__ import annotations

from pathlib import Path

from api.errors import BadInput


class ShopProfileUnusable(BadInput):
    """A shop profile that cannot be read or understood."""

    remedy = "Correct the file, or start without a profile to use the published limits."
    path: Path


class ShopProfileTooLarge(ShopProfileUnusable):
    """Refuse a file over the limit, bytes."""

    code = "profile_too_large"
    message = "The shop profile {path} is over {most} bytes."
    most: int


class ShopProfileUnread(ShopProfileUnusable):
    """The system does not give the file."""

    code = "profile_not_read"
    message = "The shop profile {path} cannot be read: {cause}."
    remedy = "Check the path and its permissions."
    cause: str | None


class ShopProfileNoText(ShopProfileUnusable):
    """Refuse a file that is no UTF-8 text."""

    code = "profile_no_text"
    message = "The shop profile {path} is no UTF-8 text."


class ShopProfileNoToml(ShopProfileUnusable):
    """Refuse a text that is no TOML."""

    code = "profile_no_toml"
    message = "The shop profile {path} is no TOML: {cause}."
    cause: str


class ShopProfileInvalid(ShopProfileUnusable):
    """Refuse a profile that names what no shop may set."""

    code = "bad_profile"
    message = "The shop profile {path} cannot be used:\n{cause}"
    cause: str
