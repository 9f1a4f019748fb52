"""Listening sockets of the port that speaks TLS: how many connections an address may have open, greeted or not.

A connection is known to the server's protocol, and counted there, only when its TLS handshake is done; whoever never
finishes one would be counted by nobody until asyncio ends it (60 s). Here every connection counts from its acceptance
to its end; one too many is closed without a word, since nothing can be said before the handshake.
"""

from __future__ import annotations

import socket
from contextlib import ExitStack
from typing import Any

from api.server.limits import Places, client_of
from api.settings import Limits

UNFINISHED = 128
UNFINISHED_PER_CLIENT = 16
"""Room for handshakes beside the connections that the protocol allows and refuses in words: in all, and of one
address. Program's rules: a browser opens six at once."""


def room_for(limits: Limits) -> Places:
    """Make the places of all connections of a port, handshakes included."""
    return Places(limits.connections + UNFINISHED, limits.connections_per_client + UNFINISHED_PER_CLIENT)


class BoundedListener(socket.socket):
    """A listening socket that closes what it accepts beyond the places of its port."""

    places: Places | None = None

    def accept(self) -> tuple[socket.socket, Any]:
        """Accept the next connection that has a place.

        Raises:
            BlockingIOError: None waits (the socket does not block, as asyncio has it).
        """
        while True:
            accepted, address = super().accept()
            client = client_of(str(address[0]))
            if self.places is None:
                return accepted, address
            if self.places.room(client):
                return _Counted(accepted, self.places, client), address
            accepted.close()


class _Counted(socket.socket):
    """A connection that gives its place back when it is closed."""

    def __init__(self, accepted: socket.socket, places: Places, client: str) -> None:
        super().__init__(accepted.family, accepted.type, accepted.proto, fileno=accepted.detach())
        self._held = ExitStack()
        self._held.enter_context(places.hold(client))

    def close(self) -> None:
        """Close it; doing so twice does nothing."""
        super().close()
        self._held.close()
