"""Errors of the server: each has a stable code, a sentence that says what happened, and one that says what to do.

OhmtrailError
├── BadInput          400  what was sent cannot be understood or is incomplete
├── NotFound          404  there is no such job, proposal, record or file
├── Refused           409  understood, but not allowed as things stand (doubt open, safety steps open, ...)
├── TooLarge          413  over a size limit
└── Unavailable       503  a part that is needed is missing (speech model, recognition engine)
"""

from __future__ import annotations

from typing import ClassVar


class OhmtrailError(Exception):
    """Base of the server's errors.

    Attributes:
        code: Stable machine-readable code.
        message: What happened, one sentence.
        what_to_do: What the person can do about it, one sentence.
        status: HTTP status.
    """

    status: ClassVar[int] = 500

    def __init__(self, code: str, message: str, what_to_do: str) -> None:
        """Keep the three parts."""
        super().__init__(f"{message} {what_to_do}")
        self.code = code
        self.message = message
        self.what_to_do = what_to_do

    def to_json(self) -> dict[str, str]:
        """As sent to the page and the command line."""
        return {"code": self.code, "message": self.message, "what_to_do": self.what_to_do}


class BadInput(OhmtrailError):  # noqa: N818 - reads as what it is
    """What was sent cannot be understood or is incomplete."""

    status = 400


class NotFound(OhmtrailError):  # noqa: N818
    """There is no such thing."""

    status = 404


class Refused(OhmtrailError):  # noqa: N818
    """Understood, but not allowed as things stand."""

    status = 409


class TooLarge(OhmtrailError):  # noqa: N818
    """Over a size limit."""

    status = 413


class Unavailable(OhmtrailError):  # noqa: N818
    """A part that is needed is missing."""

    status = 503


class WriteFailed(OhmtrailError):  # noqa: N818
    """The disk refused; nothing was acknowledged."""

    status = 507
