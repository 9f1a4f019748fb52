"""Who acts: the person of the device that a request came from, for as long as the request is worked on.

The server sets it, and what is written meanwhile names this person. Where nobody is set (at the machine itself, in the
command line) a job's own technician is the one who acts.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_PERSON: ContextVar[str] = ContextVar("person", default="")


@contextmanager
def acting(person: str) -> Iterator[None]:
    """Let a person act within the block; an empty name leaves whoever acts already."""
    if not person:
        yield
        return
    token = _PERSON.set(person)
    try:
        yield
    finally:
        _PERSON.reset(token)


def acting_person(otherwise: str = "") -> str:
    """Give who acts; `otherwise` where no device says so."""
    return _PERSON.get() or otherwise
