"""The check in front of every route: requests under a foreign name or from a foreign page are refused.

A browser on this machine can be made to send requests to 127.0.0.1 by any page it shows, under a name that the page's
owner controls. So the Host must be one of ours, and where a request says which page it comes from (Origin), that must
be ours too. Every answer forbids the browser to guess media types.
"""

from __future__ import annotations

import json
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send


def _name(host: str) -> str:
    """Give a Host header without its port, in lower case: "[::1]:8765" as "[::1]"."""
    host = host.strip().lower()
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]


_TOO_LARGE = {
    "code": "too_large",
    "message": "That is more than this address takes.",
    "what_to_do": "Send a smaller file; nothing was stored.",
}


async def _send_json(send: Send, status: int, content: dict[str, str]) -> None:
    body = json.dumps(content).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _is_plain(message: Message) -> bool:
    return any(name.lower() == b"content-type" and b"json" not in value for name, value in message["headers"])


class HostCheck:
    """ASGI middleware that refuses requests under another host name or from another page (see the module)."""

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...]) -> None:
        """Let only these host names in."""
        self.app = app
        self.hosts = frozenset(hosts)

    def problem(self, scope: Scope) -> dict[str, str] | None:
        """Tell why a request is refused; None where it may pass."""
        headers = {name.lower(): value.decode("latin-1") for name, value in scope["headers"]}
        if _name(headers.get(b"host", "")) not in self.hosts:
            return {
                "code": "wrong_host",
                "message": "This server does not answer under that name.",
                "what_to_do": "Use http://localhost, or add the name to OHMTRAIL_HOSTS.",
            }
        # A client that is no browser sends no Origin; a browser sends it with every write and every socket.
        origin = headers.get(b"origin")
        if origin is not None and urlsplit(origin).netloc.lower() != headers.get(b"host", "").lower():
            return {
                "code": "wrong_origin",
                "message": "This request comes from another page.",
                "what_to_do": "Open Ohmtrail's own page.",
            }
        return None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        problem = self.problem(scope)
        if problem is None:
            await self.app(scope, receive, self._with_headers(send))
        elif scope["type"] == "websocket":
            # RFC 6455, 7.4.1: policy violation.
            await send({"type": "websocket.close", "code": 1008, "reason": problem["code"]})
        else:
            await _send_json(send, 403, problem)

    def _with_headers(self, send: Send) -> Send:
        refused = False

        async def sending(message: Message) -> None:
            nonlocal refused
            if message["type"] == "http.response.start":
                # The body limit answers in plain text and its own words; the page shows the sentences of a JSON error.
                if message["status"] == 413 and _is_plain(message):
                    refused = True
                    await _send_json(send, 413, _TOO_LARGE)
                present = {name.lower() for name, _ in message["headers"]}
                extra = {
                    # Evidence is whatever somebody sent: a browser must not find a page or script in it by guessing.
                    b"x-content-type-options": b"nosniff",
                    b"referrer-policy": b"no-referrer",
                    b"cross-origin-resource-policy": b"same-origin",
                    # An answer is true until the next word; routes whose content never changes say so themselves.
                    b"cache-control": b"no-store",
                }
                message["headers"] = [
                    *message["headers"],
                    *((name, value) for name, value in extra.items() if name not in present),
                ]
            if not refused:
                await send(message)

        return sending
