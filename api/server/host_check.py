"""The check in front of every route: requests under a foreign name or from a foreign page are refused.

A browser on this machine can be made to send requests to 127.0.0.1 by any page it shows, under a name that the page's
owner controls. So the Host must be one of ours (over TLS: of those that the certificate is for); where a request says
which page it comes from (Origin), that must be ours; and where the browser says that another site caused it
(Sec-Fetch-Site), it is refused. The one thing that another site may do is to lead a person to the start page or the
pairing page, which hold nothing private. Every answer, refusals and failures included, carries the headers of
`api.server.headers`.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import OhmtrailError
from api.server.errors import (
    BodyOverLimit,
    ForeignSite,
    MalformedHost,
    MalformedOrigin,
    WrongHost,
    WrongOrigin,
)
from api.server.headers import deny_socket, send_error, with_headers

_AUTHORITY = r"(?P<name>\[[0-9a-f:.]{2,45}\]|[a-z0-9](?:[a-z0-9._-]{0,252}))(?::(?P<port>[0-9]{1,5}))?"
_HOST = re.compile(_AUTHORITY)
_ORIGIN = re.compile(rf"(?P<scheme>https?)://{_AUTHORITY}")
_OTHER_ORIGIN = re.compile(r"null|[a-z][a-z0-9+.-]*://[\x21-\x7e]*")
"""Origins that are well formed and surely not ours: opaque ones, files, extensions (RFC 6454, 7; HTML, "origin")."""
_OWN_SITES = ("same-origin", "none")
"""Values of Sec-Fetch-Site for requests of our page, and for those that a person typed (W3C Fetch Metadata, 2.3)."""
_PORTS = {"http": 80, "https": 443}


def _authority(match: re.Match[str] | None, scheme: str) -> tuple[str, int] | None:
    """Give name and port; None where it is no authority."""
    if match is None or int(match["port"] or 0) > 65535:
        return None
    return match["name"], int(match["port"] or _PORTS[scheme])


def _values(scope: Scope, wanted: bytes) -> list[str]:
    return [value.decode("latin-1").strip().lower() for name, value in scope["headers"] if name.lower() == wanted]


def host_of(scope: Scope) -> str | None:
    """Give the host that a request names, without its port; None where it names none, or more than one."""
    given = _values(scope, b"host")
    found = _authority(_HOST.fullmatch(given[0]) if len(given) == 1 else None, "http")
    return None if found is None else found[0]


def _check_host(scope: Scope, hosts: frozenset[str]) -> OhmtrailError | None:
    found = host_of(scope)
    if found is None:
        return MalformedHost()
    return None if found in hosts else WrongHost()


def _check_origin(scope: Scope) -> OhmtrailError | None:
    """Compare the Origin with the Host, which was checked before.

    Over plain HTTP both schemes count, since a proxy may have ended TLS; over our own TLS only https is ours.
    """
    given = _values(scope, b"origin")
    if not given:
        return None
    match = _ORIGIN.fullmatch(given[0])
    found = _authority(match, match["scheme"]) if match else None
    if len(given) > 1 or (found is None and (match or given[0].startswith("http") or not _is_other(given[0]))):
        return MalformedOrigin()
    own = match and _authority(_HOST.fullmatch(_values(scope, b"host")[0]), match["scheme"])
    is_ours = (
        found is not None
        and found == own
        and (not _is_encrypted(scope) or (match is not None and match["scheme"] == "https"))
    )
    return None if is_ours else WrongOrigin()


def _is_encrypted(scope: Scope) -> bool:
    return scope["scheme"] in ("https", "wss")


def _is_other(origin: str) -> bool:
    return _OTHER_ORIGIN.fullmatch(origin) is not None


def _check_site(scope: Scope) -> OhmtrailError | None:
    given = _values(scope, b"sec-fetch-site")
    if all(value in _OWN_SITES for value in given):
        return None
    leads_to_start = (
        scope["type"] == "http"
        and scope["method"] == "GET"
        and scope["path"] in ("/", "/pair")
        and _values(scope, b"sec-fetch-mode") == ["navigate"]
        and _values(scope, b"sec-fetch-dest") == ["document"]
    )
    return None if leads_to_start else ForeignSite()


def _is_plain(message: Message) -> bool:
    return any(name.lower() == b"content-type" and b"json" not in value for name, value in message["headers"])


class HostCheck:
    """ASGI application around the app that refuses what comes under another name or from another page."""

    def __init__(
        self, app: ASGIApp, hosts: tuple[str, ...], encrypted: Callable[[], frozenset[str]] = frozenset
    ) -> None:
        """Let only these host names in.

        Args:
            app: What is behind.
            hosts: Names over plain HTTP.
            encrypted: Gives the names over TLS, as they are now.
        """
        self.app = app
        self.hosts = frozenset(hosts)
        self.encrypted = encrypted

    def problem(self, scope: Scope) -> OhmtrailError | None:
        """Tell why a request is refused; None where it may pass."""
        hosts = self.encrypted() if _is_encrypted(scope) else self.hosts
        return _check_host(scope, hosts) or _check_origin(scope) or _check_site(scope)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        send = with_headers(send)
        problem = self.problem(scope)
        if problem is None:
            await self.app(scope, receive, _worded(send))
        elif scope["type"] == "websocket":
            await deny_socket(send, scope.get("extensions") or {}, problem)
        else:
            await send_error(send, problem)


def _worded(send: Send) -> Send:
    """Give what the framework's limit of a body refuses in plain text a sentence of ours."""
    refused = False

    async def sending(message: Message) -> None:
        nonlocal refused
        if message["type"] == "http.response.start" and message["status"] == 413 and _is_plain(message):
            refused = True
            await send_error(send, BodyOverLimit())
        if not refused:
            await send(message)

    return sending
