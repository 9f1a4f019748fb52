"""The addresses of this machine in private networks, the one that others reach it by first."""

from __future__ import annotations

import ipaddress
import socket

import ifaddr

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network

PRIVATE: tuple[Network, ...] = tuple(
    ipaddress.ip_network(text)
    for text in (
        "10.0.0.0/8",
        "172.16.0.0/12",
        "192.168.0.0/16",  # RFC 1918, 3
        "169.254.0.0/16",  # RFC 3927, 2.1: link-local
        "127.0.0.0/8",  # RFC 1122, 3.2.1.3: loopback
        "fc00::/7",  # RFC 4193, 3.1
        "fe80::/10",  # RFC 4291, 2.5.6: link-local
        "::1/128",  # RFC 4291, 2.5.3: loopback
    )
)
"""Networks that no address of the internet lies in; what the certificates are limited to."""

_ELSEWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737) that nothing is sent to: asked only which way would lead there."""


def is_private(address: Address) -> bool:
    """Tell whether an address lies in one of the private networks."""
    return any(address.version == network.version and address in network for network in PRIVATE)


def _reached_by(address: Address) -> bool:
    # A link-local address of IPv6 means nothing without the name of an interface, which no address bar takes.
    return is_private(address) and not address.is_loopback and not (address.version == 6 and address.is_link_local)


def _outward() -> str:
    """Give the address that this machine would speak to the internet from; empty where there is no way."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)  # of a datagram socket: only looks the way up
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def private_addresses() -> tuple[Address, ...]:
    """Give the private addresses that a phone could reach this machine by, the likeliest first."""
    found = {
        ipaddress.ip_address(one.ip if isinstance(one.ip, str) else one.ip[0].partition("%")[0])
        for adapter in ifaddr.get_adapters()
        for one in adapter.ips
    }
    outward = _outward()
    return tuple(
        sorted((one for one in found if _reached_by(one)), key=lambda one: (str(one) != outward, one.version, int(one)))
    )


def is_loopback(host: str | None) -> bool:
    """Tell whether a text is an address of this machine alone; a name is none."""
    try:
        found = ipaddress.ip_address(host or "")
    except ValueError:
        return False
    mapped = found.ipv4_mapped if isinstance(found, ipaddress.IPv6Address) else None
    return (mapped or found).is_loopback


def in_address_bar(address: Address) -> str:
    """Write an address as it stands in a URL and in a Host header."""
    return f"[{address}]" if address.version == 6 else str(address)
