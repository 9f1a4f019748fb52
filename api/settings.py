"""Settings, all from the environment; the command line can override them.

OHMTRAIL_DATA          data folder (default: ./data)
OHMTRAIL_SPEECH_MODEL  directory of another vosk model (default: the one that ships)
OHMTRAIL_PROFILE       TOML file with the shop's own limits (default: the published limits)
OHMTRAIL_HOST          address to listen on (default: 127.0.0.1, this machine only)
OHMTRAIL_PORT          port (default: 8765)
OHMTRAIL_HOSTS         further names by which the server may be called, separated by commas
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Settings:
    """Settings of one server.

    Attributes:
        data: Data folder.
        speech_model: Directory of a vosk model; None for the one that ships.
        profile: TOML file with the shop's own limits; None for the published ones.
        host: Address to listen on.
        port: Port, 1 to 65535.
        hosts: Names by which the server may be called.
    """

    data: Path = Path("data")
    speech_model: Path | None = None
    profile: Path | None = None
    host: str = "127.0.0.1"
    port: int = 8765
    hosts: tuple[str, ...] = LOCAL_HOSTS


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Read the settings.

    Args:
        environment: Names and values; None for the process's own.

    Raises:
        BadPort: The port is no port.
    """
    given = os.environ if environment is None else environment
    port = given.get("OHMTRAIL_PORT", "8765")
    if not port.isdigit() or not 1 <= int(port) <= 65535:
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
    )
