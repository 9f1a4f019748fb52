"""Settings, all from the environment; the command line can override them.

OHMTRAIL_DATA          data folder (default: ./data)
OHMTRAIL_SPEECH_MODEL  directory of another vosk model (default: the one that ships)
OHMTRAIL_SECOND_OPINION  "off": no second engine is asked about what was heard; or the folder of its files
OHMTRAIL_PROFILE       TOML file with the shop's own limits (default: the published limits)
OHMTRAIL_HOST          loopback address to listen on (default: 127.0.0.1)
OHMTRAIL_PORT          port (default: 8765)
OHMTRAIL_HOSTS         further names by which the server may be called, separated by commas
OHMTRAIL_TSA           time-stamping server that `ohmtrail witness` asks (default: none is asked)
OHMTRAIL_LIMIT_...     any of the limits in `Limits`, by its name in capitals: OHMTRAIL_LIMIT_SOCKETS=64
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

from api.errors import BadInput

LOCAL_HOSTS = ("localhost", "127.0.0.1", "[::1]")
"""Names of this machine. Any other name in a request is refused, so that no foreign page can reach the server."""


class BadPort(BadInput):
    """The port is no number from 1 to 65535."""

    code = "bad_port"
    message = "OHMTRAIL_PORT is {port!r}."
    remedy = "Give a number from 1 to 65535."
    port: str


class BadLimit(BadInput):
    """A limit is no whole number above zero."""

    code = "bad_limit"
    message = "{name} is {given!r}."
    remedy = "Give a whole number from 1 to 1000000."
    name: str
    given: str


@dataclass(frozen=True)
class Limits:
    """What one client, and all of them together, may take of the server. Program's rules, generous for one technician.

    A client is one address (of IPv6, one /64 network). Behind a proxy all clients have the proxy's address.

    Attributes:
        connections: Open connections in all.
        connections_per_client: Open connections of one client; a browser opens six.
        sockets: Listening connections in all.
        sockets_per_client: Listening connections of one client; a page opens one.
        uploads: Bodies arriving at the same time, in all.
        uploads_per_client: Bodies of one client arriving at the same time; a page sends one after the other.
        requests_per_s: Requests of one client each second, in the long run; an open page asks for two to five.
        request_burst: Requests of one client at once, after a pause; a page with many photos asks for a hundred.
        page_files_per_s: Files of the page itself that one client may ask for each second, in the long run.
        page_file_burst: The same at once, after a pause; a page that is opened for the first time asks for a hundred.
        header_s: How long a request's header may take, s.
        body_pause_s: How long nothing may arrive of a body, s.
        body_start_s: What a body may take whatever its size, s.
        body_bytes_per_s: What must arrive of a body each second, on average, after that.
        socket_pause_s: How long an utterance may pause before it counts as cut off and its recogniser is given back, s.
        socket_idle_s: How long a listening connection may stay open without an utterance, s.
        queue: Captures stored and waiting to be read.
        long_queue: From how many waiting captures a sender is answered before its capture is read.
    """

    connections: int = 512
    connections_per_client: int = 64
    sockets: int = 16
    sockets_per_client: int = 4
    uploads: int = 64
    uploads_per_client: int = 8
    requests_per_s: int = 50
    request_burst: int = 500
    page_files_per_s: int = 200
    page_file_burst: int = 4_000
    header_s: int = 10
    body_pause_s: int = 10
    body_start_s: int = 20
    body_bytes_per_s: int = 8_000
    socket_pause_s: int = 30
    socket_idle_s: int = 1800
    queue: int = 5_000
    long_queue: int = 16


@dataclass(frozen=True)
class Settings:
    """Settings of one server.

    Attributes:
        data: Data folder.
        speech_model: Directory of a vosk model; None for the one that ships.
        profile: TOML file with the shop's own limits; None for the published ones.
        host: Loopback address to listen on.
        port: Port, 1 to 65535.
        hosts: Names by which the server may be called.
        limits: What clients may take of the server.
    """

    data: Path = Path("data")
    speech_model: Path | None = None
    profile: Path | None = None
    host: str = "127.0.0.1"
    port: int = 8765
    hosts: tuple[str, ...] = LOCAL_HOSTS
    limits: Limits = Limits()


def _limits(given: Mapping[str, str]) -> Limits:
    found: dict[str, int] = {}
    for field in fields(Limits):
        name = f"OHMTRAIL_LIMIT_{field.name.upper()}"
        text = given.get(name)
        if text is None:
            continue
        if not (text.isascii() and text.isdigit() and len(text) <= 7 and 1 <= int(text) <= 1_000_000):
            raise BadLimit(name=name, given=text)
        found[field.name] = int(text)
    return Limits(**found)


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Read the settings.

    Args:
        environment: Names and values; None for the process's own.

    Raises:
        BadPort: The port is no port.
        BadLimit: A limit is no number in its range.
    """
    given = os.environ if environment is None else environment
    port = given.get("OHMTRAIL_PORT", "8765")
    if not (port.isascii() and port.isdigit() and len(port) <= 5) or not 1 <= int(port) <= 65535:
        raise BadPort(port=port)
    model, profile = given.get("OHMTRAIL_SPEECH_MODEL"), given.get("OHMTRAIL_PROFILE")
    more = [name.strip().lower() for name in given.get("OHMTRAIL_HOSTS", "").split(",") if name.strip()]
    return Settings(
        data=Path(given.get("OHMTRAIL_DATA") or "data"),
        speech_model=Path(model) if model else None,
        profile=Path(profile) if profile else None,
        host=given.get("OHMTRAIL_HOST") or "127.0.0.1",
        port=int(port),
        hosts=(*LOCAL_HOSTS, *more),
        limits=_limits(given),
    )
