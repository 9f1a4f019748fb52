"""Errors of the server: each class has a stable code, a sentence that says what happened, and one that says what to do.

OhmtrailError
├── BadInput          400  what was sent cannot be understood or is incomplete
├── Unknown           401  comes from a device that is not paired
├── Forbidden         403  comes from a page or by a name that may not ask
├── NotFound          404  there is no such job, proposal, record or file
├── TooSlow           408  did not arrive in time
├── Refused           409  understood, but not allowed as things stand (doubt open, safety steps open, ...)
├── TooLarge          413  over a size limit
├── TooMany           429  one client asks for more than its share
├── Unavailable       503  a part that is needed is missing (speech model, recognition engine), or everything is in use
└── WriteFailed       507  the disk refused

These are families, for `except` clauses. What is raised lies in each room's own `errors` module and is declared as
`capture.errors.TemplatedError` says.
"""

from __future__ import annotations

from typing import ClassVar

from capture.errors import TemplatedError


class OhmtrailError(TemplatedError):
    """Any error of the server.

    Attributes:
        status: HTTP status.
    """

    status: ClassVar[int] = 500

    def to_json(self) -> dict[str, str]:
        """Give the error as it is sent to the page and the command line."""
        return {"code": self.code, "message": self.message, "what_to_do": self.remedy}


class BadInput(OhmtrailError):
    """What was sent cannot be understood or is incomplete."""

    status = 400


class Unknown(OhmtrailError):
    """The request comes from a device that is not paired."""

    status = 401


class Forbidden(OhmtrailError):
    """The request comes from a page, or by a name, that may not ask."""

    status = 403


class NotFound(OhmtrailError):
    """There is no such thing."""

    status = 404


class TooSlow(OhmtrailError):
    """What was sent did not arrive in time; nothing of it is kept."""

    status = 408


class Refused(OhmtrailError):
    """The request was understood, but is not allowed in the present state."""

    status = 409


class TooLarge(OhmtrailError):
    """Something is over a size limit."""

    status = 413


class TooMany(OhmtrailError):
    """One client asks for more than its share."""

    status = 429


class Unavailable(OhmtrailError):
    """A part that is needed is missing, or everything is in use."""

    status = 503


class WriteFailed(OhmtrailError):
    """The disk refused; nothing was acknowledged."""

    status = 507
