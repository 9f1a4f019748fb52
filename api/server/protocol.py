"""HTTP/1.1 as uvicorn speaks it, with what it leaves open: limits on connections and on the time for a header.

What is refused here is answered with a sentence and the headers that every answer carries. An application sees a
request only when its header is whole, so unfinished headers and too many connections can be ended only here.
"""

from __future__ import annotations

import asyncio
import base64
import binascii
from http import HTTPStatus
from typing import ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.errors import OhmtrailError
from api.server.errors import MalformedHandshake, MalformedRequest, RequestTooSlow, ServerFull, TooManySockets
from api.server.headers import answer_of
from api.server.limits import RETRY_S, client_of
from api.settings import Limits

DISCARD_S = 30
"""How long the rest of a body is read and thrown away that nobody wants any more, s; then the connection ends."""


class GuardedProtocol(H11Protocol):
    """One connection; see the module."""

    limits: ClassVar[Limits] = Limits()

    _timer: asyncio.TimerHandle | None = None
    _rest: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Refuse the connection where there are too many, or begin to wait for a header."""
        super().connection_made(transport)
        problem = self._refusal()
        if problem is not None:
            self._answer(problem)
            return
        self._await_header()

    def _refusal(self) -> OhmtrailError | None:
        """Count all connections, listening ones included: uvicorn keeps them in one set."""
        own = client_of(self.client[0] if self.client else None)
        peers = [getattr(one, "client", None) for one in self.connections]
        clients = [client_of(peer[0] if peer else None) for peer in peers]
        if clients.count(own) > self.limits.connections_per_client:
            return TooManySockets(most=self.limits.connections_per_client, retry_s=RETRY_S)
        return ServerFull(what="connections", retry_s=RETRY_S) if len(clients) > self.limits.connections else None

    def data_received(self, data: bytes) -> None:
        """Take bytes; while they are no whole header, the time for one runs."""
        if self.transport.is_closing():
            return
        super().data_received(data)
        if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0]:
            self._await_header()
        else:
            self._stop_waiting()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the timers."""
        self._stop_waiting()
        if self._rest is not None:
            self._rest.cancel()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        """End a connection on which the rest of an unwanted body does not come to an end."""
        super().on_response_complete()
        if self.conn.their_state is h11.SEND_BODY and self._rest is None:
            self._rest = self.loop.call_later(DISCARD_S, self.transport.close)

    def shutdown(self) -> None:
        """End at the server's stop; a body that is still arriving is not waited for."""
        if self.conn.their_state is h11.SEND_BODY and self.conn.our_state is h11.SEND_RESPONSE:
            self.transport.close()
        else:
            super().shutdown()

    def _await_header(self) -> None:
        if self._timer is None:
            self._timer = self.loop.call_later(self.limits.header_s, self._no_header)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _no_header(self) -> None:
        self._timer = None
        if self.transport.is_closing() or self.conn.their_state is not h11.IDLE:
            return
        if self.conn.trailing_data[0]:
            self._answer(RequestTooSlow())
        else:
            self.transport.close()  # opened ahead by a browser and never used

    def send_400_response(self, msg: str) -> None:  # noqa: ARG002 - uvicorn's words are in plain text
        """Refuse what h11 does not take as HTTP: a malformed header, two Hosts, two lengths."""
        self._answer(MalformedRequest())

    def handle_websocket_upgrade(self, event: h11.Request) -> None:
        """Refuse a handshake that is none here, where the refusal can carry our headers."""
        self._stop_waiting()
        if not _is_handshake(event):
            self._answer(MalformedHandshake())
            return
        super().handle_websocket_upgrade(event)

    def _answer(self, error: OhmtrailError) -> None:
        """Answer by an error outside of any request, and close."""
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            headers, body = answer_of(error)
            headers.append((b"connection", b"close"))
            reason = HTTPStatus(error.status).phrase.encode()
            for part in (
                h11.Response(status_code=error.status, headers=headers, reason=reason),
                h11.Data(data=body),
                h11.EndOfMessage(),
            ):
                self.transport.write(self.conn.send(part) or b"")
        self.transport.close()


def _is_handshake(request: h11.Request) -> bool:
    """Tell whether a request opens a WebSocket (RFC 6455, 4.2.1)."""
    given = [(bytes(name).lower(), bytes(value).strip()) for name, value in request.headers]
    keys = [value for name, value in given if name == b"sec-websocket-key"]
    versions = [value for name, value in given if name == b"sec-websocket-version"]
    try:
        key = base64.b64decode(keys[0], validate=True) if len(keys) == 1 else b""
    except (binascii.Error, ValueError):
        key = b""
    return request.method == b"GET" and versions == [b"13"] and len(key) == 16


def guarded(limits: Limits) -> type[GuardedProtocol]:
    """Give the protocol that holds these limits."""
    return type("GuardedProtocol", (GuardedProtocol,), {"limits": limits})
