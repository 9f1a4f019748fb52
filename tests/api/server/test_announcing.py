"""The name on the local network, found by another asker of the library zeroconf (RFC 6762, RFC 6763)."""

from __future__ import annotations

import asyncio
import ipaddress
import socket

import ifaddr
import pytest
from zeroconf.asyncio import AsyncServiceInfo, AsyncZeroconf

from api.access.guests import WhereToFind
from api.server.announcing import SERVICE, Announcer

FIRST = WhereToFind((ipaddress.ip_address("10.77.1.2"),), "ohmtrail-ab12.local", 8766, 8767, "AB")
SECOND = WhereToFind((ipaddress.ip_address("10.77.1.3"),), "ohmtrail-ab12.local", 8766, 8767, "AB")


async def found() -> tuple[str, list[str], int] | None:
    """Ask the network where the server is."""
    network = AsyncZeroconf()
    try:
        info = AsyncServiceInfo(SERVICE, f"ohmtrail-ab12.{SERVICE}")
        if not await info.async_request(network.zeroconf, 3000):
            return None
        return str(info.server), info.parsed_addresses(), info.port or 0
    finally:
        await network.async_close()


def multicast() -> bool:
    """Tell whether a plain socket may join the group of multicast DNS (RFC 6762) on any address of this machine."""
    for adapter in ifaddr.get_adapters():
        for one in adapter.ips:
            if not isinstance(one.ip, str):
                continue
            member = socket.inet_aton("224.0.0.251") + socket.inet_aton(one.ip)
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
                try:
                    probe.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
                except OSError:
                    continue
                return True
    return False


def test_it_is_found_by_its_name_where_it_is_now() -> None:
    async def tell_and_look() -> list[tuple[str, list[str], int] | None]:
        announcer = Announcer()
        if not await announcer.tell(FIRST):
            assert not multicast(), "the network would have taken it"
            pytest.skip("this machine's network takes no multicast")
        try:
            first = await found()
            await announcer.tell(SECOND)
            return [first, await found()]
        finally:
            await announcer.stop()

    name = "ohmtrail-ab12.local."
    assert asyncio.run(tell_and_look()) == [(name, ["10.77.1.2"], 8766), (name, ["10.77.1.3"], 8766)]
    assert asyncio.run(Announcer().tell(WhereToFind())) is False, "without an address there is nothing to tell"
