"""The headers that every answer carries, and errors as answers: the same for routes, refusals and failures."""

from __future__ import annotations

import json
from collections.abc import Mapping

from starlette.types import Message, Send

from api.errors import OhmtrailError

EVERY_ANSWER: Mapping[str, str] = {
    "content-security-policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "microphone=(self), camera=(self), geolocation=(), payment=(), usb=(), display-capture=()",
    "cache-control": "no-store",
}
"""On every answer that does not set its own; what is shown to people (page, report, evidence) has a policy of its own.

No Strict-Transport-Security. Browsers ignore it for addresses (RFC 6797, 8.1.1). For the `.local` name it would hold
for every port (8.3), and so lock the plain page that hands out the certificate, and whoever has not installed that
certificate yet could not even look. Nothing is lost by its absence: the page's own port speaks TLS only, and the cookie
is sent over TLS only.
"""

_RAW = {name.encode(): value.encode() for name, value in EVERY_ANSWER.items()}


def secured(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Give the headers of an answer with those of `EVERY_ANSWER` that it has not set itself."""
    present = {name.lower() for name, _ in headers}
    return [*headers, *((name, value) for name, value in _RAW.items() if name not in present)]


def answer_of(error: OhmtrailError) -> tuple[list[tuple[bytes, bytes]], bytes]:
    """Give an error as headers and body; one that passes by itself (`retry_s`) says when to try again."""
    body = as_json(error.to_json())
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    return secured([*headers, *((name.encode(), value.encode()) for name, value in retry_header(error).items())]), body


def _challenge(error: OhmtrailError) -> dict[str, str]:
    # RFC 9110, 15.5.2: a 401 names a way to prove oneself. No registered one fits a code that is typed into a page.
    return {"www-authenticate": 'Pairing realm="ohmtrail"'} if error.status == 401 else {}


def retry_header(error: OhmtrailError) -> dict[str, str]:
    """Give the headers of an error's own: when to try again, where it knows; how to prove oneself, of a 401."""
    seconds = getattr(error, "retry_s", None)
    return _challenge(error) | ({} if seconds is None else {"retry-after": str(seconds)})


def as_json(content: Mapping[str, str]) -> bytes:
    """Write an error as JSON in ASCII, so that a half character in what was sent cannot break the answer."""
    return json.dumps(content).encode("ascii")


async def send_error(send: Send, error: OhmtrailError, *, close: bool = False) -> None:
    """Answer an HTTP request by an error; with `close`, the connection ends too."""
    headers, body = answer_of(error)
    if close:
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": error.status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def deny_socket(send: Send, extensions: Mapping[str, object], error: OhmtrailError) -> None:
    """Refuse a WebSocket handshake: by an HTTP answer where the server can, by closing where not."""
    if "websocket.http.response" not in extensions:
        await send({"type": "websocket.close", "code": 1008, "reason": error.code})
        return
    headers, body = answer_of(error)
    await send({"type": "websocket.http.response.start", "status": error.status, "headers": headers})
    await send({"type": "websocket.http.response.body", "body": body})


def with_headers(send: Send) -> Send:
    """Add the headers of every answer to what is sent."""

    async def sending(message: Message) -> None:
        if message["type"] in ("http.response.start", "websocket.accept", "websocket.http.response.start"):
            message["headers"] = secured(list(message.get("headers") or []))
        await send(message)

    return sending
