"""What clients may take at the same time: requests, unfinished uploads, listening connections.

A client is one address. Nothing is read of a body before there is room for it, and whoever sends too slowly is ended,
so that unfinished requests cannot pile up. What is refused says when to try again.
"""

from __future__ import annotations

import asyncio
import ipaddress
import math
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import OhmtrailError
from api.server.errors import RequestTooSlow, ServerFull, TooManyRequests, TooManySockets, TooManyUploads
from api.server.headers import deny_socket, send_error
from api.settings import Limits

RETRY_S = 5
"""When somebody may try again who found no room, s: uploads and sockets come free in seconds."""

MOST_KNOWN = 4096
"""How many clients' buckets are kept at most before the full ones are forgotten."""

_BODILESS = ("GET", "HEAD", "OPTIONS", "DELETE")
_READING = ("GET", "HEAD")


def client_of(address: str | None) -> str:
    """Give the client that an address counts for: itself, or the /64 network that an IPv6 subscriber has to himself."""
    try:
        found = ipaddress.ip_address(address or "")
    except ValueError:
        return address or ""
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))


@dataclass
class _Bucket:
    tokens: float
    filled_at: float


class RequestRate:
    """A token bucket for each client."""

    def __init__(self, rate: float, burst: float) -> None:
        """Let a client have `burst` requests at once and `rate` each second."""
        self._rate = rate
        self._burst = burst
        self._buckets: dict[str, _Bucket] = {}

    def wait_s(self, client: str, now: float) -> float:
        """Take a token; gives 0, or how long the client must wait for one, s."""
        bucket = self._buckets.get(client)
        if bucket is None:
            self._forget(now)
            bucket = self._buckets[client] = _Bucket(self._burst, now)
        bucket.tokens = min(self._burst, bucket.tokens + (now - bucket.filled_at) * self._rate)
        bucket.filled_at = now
        if bucket.tokens < 1:
            return (1 - bucket.tokens) / self._rate
        bucket.tokens -= 1
        return 0.0

    def _forget(self, now: float) -> None:
        if len(self._buckets) < MOST_KNOWN:
            return
        full_s = self._burst / self._rate
        self._buckets = {name: one for name, one in self._buckets.items() if now - one.filled_at < full_s}


class Places:
    """A number of places, of which each client may have some."""

    def __init__(self, most: int, most_per_client: int) -> None:
        """Make room for `most` in all."""
        self.most = most
        self.most_per_client = most_per_client
        self._taken: Counter[str] = Counter()

    @property
    def taken(self) -> int:
        """How many are taken."""
        return self._taken.total()

    def room(self, client: str) -> bool | None:
        """Tell whether there is room: True, False for this client, None for anybody."""
        if self._taken[client] >= self.most_per_client:
            return False
        return True if self.taken < self.most else None

    @contextmanager
    def hold(self, client: str) -> Iterator[ConnectionSlot]:
        """Take a place until it is left, or until the end of the block."""
        place = ConnectionSlot(self, client)
        self._taken[client] += 1
        try:
            yield place
        finally:
            place.leave()

    def free(self, client: str) -> None:
        """Give one place of a client back."""
        self._taken[client] -= 1
        if not self._taken[client]:
            del self._taken[client]


class ConnectionSlot:
    """One place that is taken."""

    def __init__(self, places: Places, client: str) -> None:
        """Use `Places.hold`."""
        self._places = places
        self._client = client
        self._held = True

    def leave(self) -> None:
        """Give it back; doing so twice does nothing."""
        if self._held:
            self._held = False
            self._places.free(self._client)


class ArrivalDeadline:
    """When the next piece of a body must be there."""

    def __init__(self, limits: Limits, started: float) -> None:
        """Begin to count."""
        self._limits = limits
        self._started = started
        self.received = 0

    def left_s(self, now: float) -> float:
        """Give how long the next piece may take, s; below zero where it is late already."""
        whole = self._limits.body_start_s + self.received / self._limits.body_bytes_per_s
        return min(float(self._limits.body_pause_s), self._started + whole - now)


class _TooLate(Exception):
    """Ends the route of a request that was answered as too slow."""


class ClientLimits:
    """ASGI middleware that holds the limits (see the module)."""

    def __init__(self, app: ASGIApp, limits: Limits, page: frozenset[str] = frozenset()) -> None:
        """Hold these limits.

        Args:
            app: What stands behind them.
            limits: The limits.
            page: Paths of the page's own files. A page that is opened asks for a hundred of them, with its worker's
                copy, so they count apart: whoever opens several pages must not find them without their data.
        """
        self.app = app
        self.limits = limits
        self.rate = RequestRate(limits.requests_per_s, limits.request_burst)
        self.page_rate = RequestRate(limits.page_files_per_s, limits.page_file_burst)
        self._page = page
        self.uploads = Places(limits.uploads, limits.uploads_per_client)
        self.sockets = Places(limits.sockets, limits.sockets_per_client)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        client = client_of(scope["client"][0] if scope.get("client") else None)
        is_socket = scope["type"] == "websocket"
        rate = self.page_rate if scope.get("method") in _READING and scope["path"] in self._page else self.rate
        problem = self._refusal(client, rate, is_socket=is_socket, has_body=scope.get("method") not in _BODILESS)
        if problem is not None:
            if is_socket:
                await deny_socket(send, scope.get("extensions") or {}, problem)
            else:
                await send_error(send, problem)
        elif is_socket:
            with self.sockets.hold(client):
                await self.app(scope, receive, send)
        elif scope["method"] in _BODILESS:
            await self.app(scope, receive, send)
        else:
            with self.uploads.hold(client) as place:
                await self._upload(scope, receive, send, place)

    def _refusal(self, client: str, rate: RequestRate, *, is_socket: bool, has_body: bool) -> OhmtrailError | None:
        wait = rate.wait_s(client, time.monotonic())
        if wait:
            return TooManyRequests(retry_s=max(1, math.ceil(wait)))
        if is_socket:
            room = self.sockets.room(client)
            if room is False:
                return TooManySockets(most=self.sockets.most_per_client, retry_s=RETRY_S)
            return None if room else ServerFull(what="listening", retry_s=RETRY_S)
        if has_body:
            room = self.uploads.room(client)
            if room is False:
                return TooManyUploads(most=self.uploads.most_per_client, retry_s=RETRY_S)
            return None if room else ServerFull(what="uploads", retry_s=RETRY_S)
        return None

    async def _upload(self, scope: Scope, receive: Receive, send: Send, place: ConnectionSlot) -> None:
        """Let the body come in within its time; its place is free as soon as it is whole."""
        deadline = ArrivalDeadline(self.limits, time.monotonic())
        ended = whole = False

        async def receiving() -> Message:
            nonlocal ended, whole
            if whole:
                return await receive()  # only a disconnection can come now, whenever it will
            try:
                async with asyncio.timeout(max(0.0, deadline.left_s(time.monotonic()))):
                    message = await receive()
            except TimeoutError:
                ended = True
                await send_error(send, RequestTooSlow(), close=True)
                raise _TooLate from None
            deadline.received += len(message.get("body", b""))
            if message["type"] == "http.disconnect" or not message.get("more_body", False):
                whole = True
                place.leave()
            return message

        async def sending(message: Message) -> None:
            if not ended:
                await send(message)

        with suppress(_TooLate):
            await self.app(scope, receiving, sending)
