"""Who may come in: from this machine anybody, from the network only paired devices, each as far as its role goes.

A request is of this machine where it came over plain HTTP and both ends of its connection are loopback addresses. All
else needs a token, whatever it asks for: the gate stands before the routes, so that a new one cannot be forgotten, and
before any body is read. What an unpaired device may see is the list `api.access.roles.OPEN`.
"""

from __future__ import annotations

import asyncio
from http.cookies import CookieError, SimpleCookie
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.access.addresses import is_loopback
from api.access.devices import LIFE, Device
from api.access.errors import NotPaired
from api.access.guests import Guests
from api.access.roles import is_open, refusal
from api.errors import OhmtrailError
from api.ledger.acting import acting
from api.server.headers import deny_socket, send_error
from api.server.web import file_of_page

COOKIE = "__Host-ohmtrail"
"""Name of the cookie with the token. With this prefix browsers take it only over TLS, for exactly this host (RFC
6265bis, 4.1.3.2)."""

POLICY_VIOLATION = 1008
"""RFC 6455, 7.4.1."""


def cookie_for(token: str) -> str:
    """Write the Set-Cookie header with a token; an empty one takes the cookie away."""
    age = int(LIFE.total_seconds()) if token else 0
    return f"{COOKIE}={token}; Max-Age={age}; Path=/; Secure; HttpOnly; SameSite=Strict"


def is_local(scope: Scope) -> bool:
    """Tell whether a request came from this machine itself."""
    ends = (scope.get("client"), scope.get("server"))
    return scope["scheme"] in ("http", "ws") and all(end is not None and is_loopback(end[0]) for end in ends)


def token_of(scope: Scope) -> str:
    """Give the token that a request brings; empty where it brings none, or more than one."""
    found = []
    for name, value in scope["headers"]:
        if name.lower() == b"cookie":
            try:
                found += [
                    morsel.value for key, morsel in SimpleCookie(value.decode("latin-1")).items() if key == COOKIE
                ]
            except CookieError:
                return ""
    return found[0] if len(found) == 1 else ""


class AccessGate:
    """ASGI application in front of the app (see the module); without guests it lets everybody through."""

    def __init__(self, app: ASGIApp, guests: Guests | None) -> None:
        """Stand before an app.

        Args:
            app: What is behind.
            guests: Who is paired; None for a server that listens to this machine only.
        """
        self.app = app
        self.guests = guests

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] not in ("http", "websocket") or self.guests is None or is_local(scope):
            await self.app(scope, receive, send)
            return
        method, path = scope.get("method", ""), scope["path"]
        device = self.guests.device_of(token_of(scope))
        problem = NotPaired() if device is None else refusal(device.role, method, path)
        if device is None and is_open(method, path):
            await self.app(scope, receive, send)
        elif problem is not None or device is None:
            await _refuse(scope, send, problem or NotPaired())
        else:
            scope.setdefault("state", {})["device"] = device
            with acting(device.person):
                if scope["type"] == "websocket":
                    await self._socket(device, scope, receive, send)
                else:
                    await self.app(scope, receive, send)

    async def _socket(self, device: Device, scope: Scope, receive: Receive, send: Send) -> None:
        assert self.guests is not None
        guarded = RevocableSocket(receive, send)
        with self.guests.connected(device, guarded.end_from_any_thread):
            # Looked up again now that it is on the list: it may have been revoked in between.
            if self.guests.device_of(token_of(scope)) is None:
                await _refuse(scope, send, NotPaired())
                return
            try:
                await self.app(scope, guarded.receive, guarded.send)
            finally:
                guarded.forget()


async def _refuse(scope: Scope, send: Send, problem: OhmtrailError) -> None:
    if scope["type"] == "websocket":
        await deny_socket(send, scope.get("extensions") or {}, problem)
    elif isinstance(problem, NotPaired) and scope["method"] == "GET" and scope["path"] == "/":
        # A person who opens the start page is shown at once where to type the code.
        answer = file_of_page("pair.html")
        answer.status_code = problem.status
        await answer(scope, _nothing, send)
    else:
        await send_error(send, problem)


async def _nothing() -> Message:
    return {"type": "http.disconnect"}


class RevocableSocket:
    """A WebSocket that ends when its device is revoked: for the app as if the client had gone."""

    def __init__(self, receive: Receive, send: Send) -> None:
        """Stand between an app and its server."""
        self._receive = receive
        self._send = send
        self._loop = asyncio.get_running_loop()
        self._ended = asyncio.Event()
        self._pending: asyncio.Future[Message] | None = None
        self._accepted = False

    def end_from_any_thread(self) -> None:
        """End it."""
        self._loop.call_soon_threadsafe(self._ended.set)

    async def receive(self) -> Message:
        """Wait for the next message, or for the end."""
        if self._pending is None:
            self._pending = asyncio.ensure_future(self._receive())
        ended = asyncio.ensure_future(self._ended.wait())
        try:
            waited: tuple[asyncio.Future[Any], ...] = (self._pending, ended)
            await asyncio.wait(waited, return_when=asyncio.FIRST_COMPLETED)
        finally:
            ended.cancel()
        if self._ended.is_set():
            if self._accepted:
                await self._send({"type": "websocket.close", "code": POLICY_VIOLATION, "reason": NotPaired.code})
            return {"type": "websocket.disconnect", "code": POLICY_VIOLATION}
        message, self._pending = self._pending.result(), None
        return message

    async def send(self, message: Message) -> None:
        """Send a message; after the end nothing is sent any more."""
        if not self._ended.is_set():
            self._accepted = self._accepted or message["type"] == "websocket.accept"
            await self._send(message)

    def forget(self) -> None:
        """Wait for no further message."""
        if self._pending is not None:
            self._pending.cancel()
