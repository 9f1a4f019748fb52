"""One page over plain HTTP: the authority's certificate, and what installing it gives. Nothing else is served here.

Whoever controls the network could change this page on its way, certificate included; so it tells to compare the
fingerprint with the one on the laptop. It holds no code, no data, and takes no cookie.
"""

from __future__ import annotations

from html import escape
from importlib.resources import files

from starlette.types import Receive, Scope, Send

from api.access.guests import WhereToFind
from api.server.errors import MalformedHost, NoSuchPage, WrongHost
from api.server.headers import secured, send_error
from api.server.host_check import host_of

CERTIFICATE = "/ohmtrail-authority.crt"
"""Address of the certificate (DER)."""

STYLE = (
    "body{font:17px/1.45 sans-serif;max-width:40rem;margin:0 auto;padding:1rem;color:#16202d;background:#fff}"
    "code{font-family:monospace;overflow-wrap:anywhere}li{margin:.4rem 0}h2{margin-top:1.6rem}"
    "a.big{display:inline-block;padding:.9rem 1.2rem;border:2px solid #16202d;font-weight:700;color:#16202d}"
)

POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def trust_page(where: WhereToFind) -> str:
    """Write the page for where the server is reached now."""
    text = files("api.server").joinpath("trust_page.html").read_text("utf-8")
    links = "".join(f'<li><a href="{escape(page)}">{escape(page)}</a></li>' for page in where.pages())
    for name, value in (
        ("STYLE", STYLE),
        ("CERTIFICATE", CERTIFICATE),
        ("FINGERPRINT", escape(where.fingerprint)),
        ("PAGES", links),
    ):
        text = text.replace(f"@{name}@", value)
    return text


class TrustPage:
    """The ASGI application that serves it."""

    def __init__(self, certificate: bytes) -> None:
        """Serve this certificate (DER); `where` is set as long as the server is reached somewhere."""
        self.certificate = certificate
        self.where = WhereToFind()

    async def __call__(self, scope: Scope, _receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http":
            return  # no WebSocket here: uvicorn refuses what the application does not accept
        host = host_of(scope)
        if host is None or host not in self.where.hosts():
            await send_error(send, MalformedHost() if host is None else WrongHost())
        elif scope["method"] in ("GET", "HEAD") and scope["path"] == "/":
            await _answer(scope, send, "text/html; charset=utf-8", trust_page(self.where).encode())
        elif scope["method"] in ("GET", "HEAD") and scope["path"] == CERTIFICATE:
            # RFC 2585, 4.2 has application/pkix-cert; phones begin to install at the older of the two names.
            await _answer(scope, send, "application/x-x509-ca-cert", self.certificate)
        else:
            await send_error(send, NoSuchPage(name=scope["path"]))


async def _answer(scope: Scope, send: Send, media_type: str, body: bytes) -> None:
    headers = [
        (b"content-type", media_type.encode()),
        (b"content-length", str(len(body)).encode()),
        (b"content-security-policy", POLICY.encode()),
    ]
    await send({"type": "http.response.start", "status": 200, "headers": secured(headers)})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})
