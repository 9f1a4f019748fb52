"""The server for a shop's network, beside the one for this machine alone.

TLS with a certificate for the addresses of now, and the plain page that hands out the authority's certificate.
"""

from __future__ import annotations

import asyncio
import contextlib
import datetime as dt
import errno
import os
import socket
import ssl
from collections.abc import Callable, Generator
from dataclasses import dataclass

import uvicorn
from anyio.to_thread import run_sync
from fastapi import FastAPI

from api.access.addresses import Address, private_addresses
from api.access.authority import Authority, ServerCertificate
from api.access.errors import PortTaken
from api.access.guests import Guests, WhereToFind
from api.ledger.clock import Clock
from api.server.announcing import Announcer
from api.server.limits import Places
from api.server.listeners import BoundedListener, room_for
from api.server.trust_page import TrustPage
from api.settings import Limits

LOOK_S = 2.0
"""How often the addresses of this machine are looked at, and devices that a command revoked, s."""


@dataclass(frozen=True)
class Ports:
    """The ports of one server: for this machine, for phones, for the page with the certificate."""

    here: int
    https: int
    trust: int


def ports_from(port: int) -> Ports:
    """Give the three ports that follow from the first."""
    return Ports(port, port + 1, port + 2)


def open_everywhere(port: int, places: Places | None = None) -> list[socket.socket]:
    """Listen on a port of every address, by both protocols where the machine has them.

    Args:
        port: The port.
        places: Holds the number of its connections from their acceptance on; None where the protocol's own count does.

    Raises:
        PortTaken: It cannot be had.
    """
    found: list[socket.socket] = []
    for family, host in ((socket.AF_INET, "0.0.0.0"), (socket.AF_INET6, "::")):  # noqa: S104 - behind TLS and pairing
        try:
            one = BoundedListener(family, socket.SOCK_STREAM)
            one.places = places
            one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if family == socket.AF_INET6:
                one.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
            one.bind((host, port))
        except OSError as error:
            if family == socket.AF_INET6 and error.errno != errno.EADDRINUSE:
                continue  # a machine without IPv6
            raise PortTaken(port=port, cause=os.strerror(error.errno or 0)) from error
        found.append(one)
    return found


def tls_context() -> ssl.SSLContext:
    """Make the context that connections are encrypted by; a certificate is loaded later, and again when it changes.

    TLS 1.3 alone: every browser that can run the page speaks it, and all of its ciphers keep their secrets when a key
    is lost later (RFC 8446, 1.2 and appendix B.4).
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_3
    return context


class SideServer(uvicorn.Server):
    """A server beside the main one, which alone listens to signals."""

    @contextlib.contextmanager
    def capture_signals(self) -> Generator[None, None, None]:
        """Leave signals to the main server."""
        yield


class MainServer(uvicorn.Server):
    """The server for this machine alone, which owns the app's life; those beside it live within."""

    def __init__(self, config: uvicorn.Config, beside: LanSide | None = None) -> None:
        """Serve, with others beside it."""
        super().__init__(config)
        self._beside = beside

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start those beside once the app is up."""
        await super().startup(sockets)
        if self._beside is not None and self.started:
            await self._beside.start()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End those beside first: the app must be there as long as anybody can ask."""
        if self._beside is not None:
            await self._beside.stop()
        await super().shutdown(sockets)


class LanSide:
    """What phones reach: the page over TLS, the plain page, the name; follows the addresses of the machine."""

    def __init__(
        self,
        app: FastAPI,
        guests: Guests,
        authority: Authority,
        ports: Ports,
        configure: Callable[..., uvicorn.Config],
        *,
        clock: Clock,
        addresses: Callable[[], tuple[Address, ...]] = private_addresses,
        told: Callable[[WhereToFind], None] = lambda _where: None,
        ended: Callable[[], None] = lambda: None,
        limits: Limits | None = None,
    ) -> None:
        """Prepare; nothing listens yet.

        Args:
            app: The app.
            guests: The paired devices.
            authority: Signs the certificate.
            ports: Where to listen.
            configure: Makes the configuration of a server for an app, as the main one has it.
            clock: The present instant.
            addresses: Gives the machine's private addresses.
            told: Told where phones find the server, at the start and whenever that changes.
            ended: Called at the end.
            limits: What the port for phones holds; the usual ones where it is None.
        """
        self._guests, self._authority, self._ports = guests, authority, ports
        self._clock, self._addresses, self._told, self._ended = clock, addresses, told, ended
        self._context = tls_context()
        self._certificate: ServerCertificate | None = None
        self._trust = TrustPage(authority.root_der())
        self._announcer = Announcer()
        self._servers = (
            SideServer(configure(app, ssl_context_factory=lambda _config, _default: self._context, lifespan="off")),
            SideServer(configure(self._trust, lifespan="off", ws="none")),
        )
        # Before anything else: a port that is taken is told before the data folder is worked on.
        self._sockets = (
            open_everywhere(ports.https, room_for(limits or Limits())),
            open_everywhere(ports.trust),
        )
        self._tasks: list[asyncio.Task[None]] = []

    async def start(self) -> None:
        """Listen."""
        await self.look()
        self._tasks = [
            asyncio.create_task(server.serve(sockets))
            for server, sockets in zip(self._servers, self._sockets, strict=True)
        ]
        self._tasks.append(asyncio.create_task(self._follow()))

    async def stop(self) -> None:
        """End connections and announcement."""
        for server in self._servers:
            server.should_exit = True
        for task in self._tasks[len(self._servers) :]:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._announcer.stop()
        self._ended()

    async def look(self) -> bool:
        """Make a certificate for the addresses of now where the one in use is not; returns whether one was made."""
        addresses = await run_sync(self._addresses)
        now = self._clock().astimezone(dt.UTC)
        if self._certificate is not None and not self._certificate.is_due(addresses, now):
            return False
        moved = self._certificate is None or set(self._certificate.addresses) != set(addresses)
        self._certificate = await run_sync(lambda: self._authority.issue(addresses, now))
        # Into the same context: connections that are open go on, the next one is shown the new certificate.
        self._context.load_cert_chain(self._certificate.path)
        where = WhereToFind(
            addresses, self._authority.host_name, self._ports.https, self._ports.trust, self._authority.fingerprint
        )
        self._guests.where = self._trust.where = where
        if moved:
            await self._announcer.tell(where)
            self._told(where)
        return True

    async def _follow(self) -> None:
        while True:
            await asyncio.sleep(LOOK_S)
            with contextlib.suppress(Exception):  # a disk that is full for a while stops nobody who is in
                await self.look()
                await run_sync(self._guests.refresh)
