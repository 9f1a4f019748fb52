"""One-time codes: eight digits that live five minutes and pair one device.

Guessing: a client has five wrong tries in five minutes, all clients together twenty, after which every code is void
(program's rule). With one code open, twenty tries find it in one case of five million.
"""

from __future__ import annotations

import hashlib
import math
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from api.access.errors import CodeWrong, TooManyTries
from api.access.roles import Role

LIFE_S = 300
"""How long a code lives, s."""

DIGITS = 8
MOST_OPEN = 8
"""How many codes may be open at once; the oldest goes first."""

TRIES_PER_CLIENT, TRIES = 5, 20
"""Wrong tries within `LIFE_S`, of one client and of all."""


@dataclass(frozen=True)
class Grant:
    """What a code gives.

    Attributes:
        role: The role of the device.
        person: Who works with it; empty where the device's user may say so.
    """

    role: Role
    person: str = ""


@dataclass(frozen=True)
class _Open:
    digest: str
    grant: Grant
    ends: float


def _digest(code: str) -> str:
    return hashlib.sha256(code.encode()).hexdigest()


class PairingCodes:
    """The codes that are open, in memory only: a restart voids them."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        """Begin with none.

        Args:
            clock: Seconds that only go forward.
        """
        self._clock = clock
        self._guard = threading.Lock()
        self._open: list[_Open] = []
        self._wrong: list[tuple[float, str]] = []

    def make(self, grant: Grant) -> str:
        """Make a code; returns its digits."""
        code = f"{secrets.randbelow(10**DIGITS):0{DIGITS}}"
        with self._guard:
            now = self._clock()
            alive = [one for one in self._open if one.ends > now]
            self._open = [*alive[-(MOST_OPEN - 1) :], _Open(_digest(code), grant, now + LIFE_S)]
        return code

    def take(self, code: str, client: str) -> Grant:
        """Use a code up.

        Args:
            code: As typed; spaces and dashes do not count.
            client: Who tries (`api.server.limits.client_of`).

        Raises:
            CodeWrong: It is none, was used, or is too old.
            TooManyTries: This client was wrong too often; it is not even looked at.
        """
        digest = _digest(code.replace(" ", "").replace("-", ""))
        with self._guard:
            now = self._clock()
            self._wrong = [(at, who) for at, who in self._wrong if now - at < LIFE_S]
            own = [at for at, who in self._wrong if who == client]
            if len(own) >= TRIES_PER_CLIENT:
                raise TooManyTries(retry_s=math.ceil(LIFE_S - (now - own[0])))
            self._open = [one for one in self._open if one.ends > now]
            for one in self._open:
                if secrets.compare_digest(one.digest, digest):
                    self._open.remove(one)
                    return one.grant
            self._wrong.append((now, client))
            if len(self._wrong) >= TRIES:
                self._open.clear()
            raise CodeWrong()
