"""The page: one HTML shell, one style sheet and a few ES modules, served from the package; nothing from elsewhere.

`router` serves a closed list of files with a strict content security policy. The page keeps nothing of its own and
talks to the JSON routes only, so whatever it shows can be asked for by any other client too.
"""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files

from fastapi import APIRouter, Request, Response

from api.report.wording import KINDS, MOTORS, URGENCIES
from api.server.errors import NoSuchPage
from api.server.web.preload import with_preloads
from grading.terms.quantity import UNITS
from grading.terms.section import SECTION_WORDS

router = APIRouter(include_in_schema=False)

MEDIA_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "media-src 'self' blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        # The one place that makes an address of a script names the service worker.
        "trusted-types ohmtrail-worker",
        # No text ever becomes markup: the page builds nodes, and the browser refuses anything else.
        "require-trusted-types-for 'script'",
    )
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Permissions-Policy": "microphone=(self), camera=(self), geolocation=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-cache",
}


@cache
def _files() -> dict[str, tuple[str, bytes, str]]:
    """Read every file of the page, by name: media type, content, entity tag."""
    found = {}
    for entry in sorted(files("api.server.web").iterdir(), key=lambda item: item.name):
        suffix = entry.name[entry.name.rfind(".") :]
        if suffix in MEDIA_TYPES:
            content = entry.read_bytes()
            found[entry.name] = _file(suffix, content)
    found["terms.js"] = _file(".js", terms().encode())
    texts = {name: content.decode() for name, (_, content, _) in found.items() if name.endswith(".js")}
    for name, (_, content, _) in found.items():
        if name.endswith(".html"):
            found[name] = _file(".html", with_preloads(content, texts))
    return found


def _file(suffix: str, content: bytes) -> tuple[str, bytes, str]:
    return MEDIA_TYPES[suffix], content, f'"{hashlib.sha256(content).hexdigest()[:32]}"'


def terms() -> str:
    """Write the words that page and report share as a module, so that each stands once."""
    words: dict[str, dict[str, str]] = {
        "UNITS": {code: unit.symbol for code, unit in UNITS.items()},
        "KINDS": KINDS,
        "SECTIONS": {section.value: name for section, name in SECTION_WORDS.items()},
        "MOTORS": MOTORS,
        "URGENCIES": {urgency.value: name for urgency, name in URGENCIES.items()},
    }
    lines = [f"export const {name} = {json.dumps(table, ensure_ascii=False)};" for name, table in words.items()]
    return "// Made by the server from the words of the report.\n" + "\n".join(lines) + "\n"


WORKER = "worker.js"
"""The service worker's own text, which is served at the root only, behind the list of files that it keeps."""


@cache
def _worker() -> tuple[str, bytes, str]:
    """Write the service worker: the version, every file of the page with its SHA-256, and what it does with them."""
    kept = {
        "/" if name == "index.html" else f"/page/{name}": hashlib.sha256(content).hexdigest()
        for name, (_, content, _) in _files().items()
        if name != WORKER
    }
    code = _files()[WORKER][1]
    version = hashlib.sha256(json.dumps(kept, sort_keys=True).encode() + code).hexdigest()[:16]
    head = f"const VERSION = {json.dumps(version)};\nconst FILES = {json.dumps(kept, indent=1, sort_keys=True)};\n"
    return _file(".js", head.encode() + code)


def file_of_page(name: str, known: str | None = None) -> Response:
    """Answer with a file of the page.

    Args:
        name: Its name.
        known: Entity tag of what the browser has (If-None-Match); the same file is then not sent again.

    Raises:
        NoSuchPage: Not one of the page's files.
    """
    try:
        found = _files()[name]
    except KeyError:
        raise NoSuchPage(name=name) from None
    return _answer(found, known)


def _answer(file: tuple[str, bytes, str], known: str | None) -> Response:
    media_type, content, tag = file
    headers = {**HEADERS, "ETag": tag}
    # Asked for anew each time ("no-cache"), so that an update shows at once; sent again only where it changed.
    if known == tag:
        return Response(status_code=304, headers=headers)
    kind = media_type if media_type == MEDIA_TYPES[".png"] else f"{media_type}; charset=utf-8"
    return Response(content, media_type=kind, headers=headers)


def page_names() -> tuple[str, ...]:
    """List the files of the page."""
    return tuple(_files())


def paths_of_page() -> frozenset[str]:
    """List the paths at which the page and its files are served."""
    return frozenset(("/", "/pair", "/sw.js", *(f"/page/{name}" for name in page_names())))


@router.get("/")
def page(request: Request) -> Response:
    """Serve the page."""
    return file_of_page("index.html", request.headers.get("if-none-match"))


@router.get("/pair")
def pairing_page(request: Request) -> Response:
    """Serve the page on which a device is paired; it holds no data."""
    return file_of_page("pair.html", request.headers.get("if-none-match"))


@router.get("/sw.js")
def service_worker(request: Request) -> Response:
    """Serve the service worker, at the root, since it may keep only what lies below it."""
    return _answer(_worker(), request.headers.get("if-none-match"))


@router.get("/page/{name}")
def page_file(name: str, request: Request) -> Response:
    """Serve a style sheet or module of the page.

    Raises:
        NoSuchPage: Not one of the page's files.
    """
    return file_of_page(name, request.headers.get("if-none-match"))
