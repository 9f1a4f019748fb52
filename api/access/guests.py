"""Who is in: the paired devices as of now, their open connections, the codes, and where the server is reached."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from api.access.addresses import Address, in_address_bar
from api.access.codes import Grant, PairingCodes
from api.access.devices import Device, all_devices, pair_device, revoke_device, token_hash
from api.ledger.database import Database


@dataclass(frozen=True)
class WhereToFind:
    """Where phones reach the server.

    Attributes:
        addresses: Private addresses of this machine, the likeliest first.
        name: Its name on the local network.
        https_port: Port of the page.
        trust_port: Port of the plain page with the certificate.
        fingerprint: SHA-256 of the authority's certificate.
    """

    addresses: tuple[Address, ...] = ()
    name: str = ""
    https_port: int = 0
    trust_port: int = 0
    fingerprint: str = ""

    def hosts(self) -> frozenset[str]:
        """Give the names by which the page may be called, as they stand in a Host header."""
        return frozenset({*(in_address_bar(one) for one in self.addresses), *([self.name] if self.name else [])})

    def _first(self) -> str:
        return in_address_bar(self.addresses[0]) if self.addresses else self.name

    def pages(self) -> tuple[str, ...]:
        """Give every address of the page, the likeliest first, the name last."""
        hosts = [*(in_address_bar(one) for one in self.addresses), self.name]
        return tuple(f"https://{host}:{self.https_port}/" for host in hosts)

    def trust_page(self) -> str:
        """Give the address of the plain page."""
        return f"http://{self._first()}:{self.trust_port}/"

    def pairing_page(self, code: str) -> str:
        """Give the address that a phone scans; what stands behind # is never sent to a server."""
        return f"https://{self._first()}:{self.https_port}/pair#{code}"


@dataclass
class _Inside:
    devices: dict[str, Device] = field(default_factory=dict)
    connections: dict[str, list[Callable[[], None]]] = field(default_factory=lambda: defaultdict(list))


class Guests:
    """The devices of one data folder, looked up without a query for each request."""

    def __init__(self, database: Database, where: WhereToFind | None = None, codes: PairingCodes | None = None) -> None:
        """Read who is paired.

        Args:
            database: Where devices are on record.
            where: Where phones reach the server; changed while it runs.
            codes: The open codes; None for none yet.
        """
        self._database = database
        self.where = where or WhereToFind()
        self.codes = codes or PairingCodes()
        self._guard = threading.Lock()
        self._inside = _Inside()
        self.refresh()

    def refresh(self) -> None:
        """Read the devices anew, since a command may have revoked one; its open connections are ended."""
        with self._database.read() as session:
            devices = all_devices(session)
        now = self._database.clock()
        counting = {one.token_sha256: one for one in devices if one.counts(now)}
        ids = {one.id for one in counting.values()}
        with self._guard:
            self._inside.devices = counting
            ended = [end for device, ends in self._inside.connections.items() if device not in ids for end in ends]
        for end in ended:
            end()

    def device_of(self, token: str) -> Device | None:
        """Give the device that has this token; None for nobody who may come in."""
        with self._guard:
            found = self._inside.devices.get(token_hash(token))
        return found if found is not None and found.counts(self._database.clock()) else None

    def pair(self, code: str, client: str, name: str, person: str) -> tuple[Device, str]:
        """Pair a device by a code; returns it and its token.

        Raises:
            CodeWrong, TooManyTries: See `PairingCodes.take`.
            EntryNotWritten: The disk is full or refuses; the code is used up.
        """
        grant: Grant = self.codes.take(code, client)
        device, token = pair_device(self._database, name, person, grant)
        self.refresh()
        return device, token

    def revoke(self, device_id: str, by: str = "") -> Device:
        """End a pairing and every open connection of the device.

        Raises:
            NoSuchDevice: There is none, or it was revoked before.
        """
        device = revoke_device(self._database, device_id, by)
        self.refresh()
        return device

    @contextmanager
    def connected(self, device: Device, end: Callable[[], None]) -> Iterator[None]:
        """Keep a connection on the list of those that end with the pairing.

        Args:
            device: Whose it is.
            end: Ends it; called from any thread.
        """
        with self._guard:
            self._inside.connections[device.id].append(end)
        try:
            yield
        finally:
            with self._guard:
                self._inside.connections[device.id].remove(end)
                if not self._inside.connections[device.id]:
                    del self._inside.connections[device.id]
