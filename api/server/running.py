"""The server as a process runs it: for this machine alone, or with what phones reach beside it."""

from __future__ import annotations

import json
import socket
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import uvicorn

from api.access.authority import FOLDER, open_authority
from api.access.guests import Guests, WhereToFind
from api.ledger.store import PRIVATE_FILE, write_synced
from api.server.app import create_app
from api.server.lan import LanSide, MainServer, Ports
from api.server.protocol import guarded
from api.server.routes.listen import MAX_FRAME
from api.settings import Settings
from api.workspace import Workspace

STOP_S = 2
"""How long open connections may take to end when the server is told to stop, s; then they are cut."""

SERVING_FILE = "serving.json"
"""In the folder of the authority, while a server with --lan runs: on which port it answers at this machine."""

Configure = Callable[..., uvicorn.Config]


def configuration(settings: Settings) -> Configure:
    """Give the maker of a server's configuration, the same for each of them."""
    return partial(
        uvicorn.Config,
        http=guarded(settings.limits),
        ws_max_size=MAX_FRAME,
        ws_per_message_deflate=False,  # sound does not shrink, and each connection would hold memory for it
        proxy_headers=False,  # limits count by the address of the peer, which no header can change
        timeout_graceful_shutdown=STOP_S,
        server_header=False,
        log_level="warning",
    )


def _run(server: MainServer) -> None:
    server.run()
    if not server.started:
        sys.exit(3)  # as uvicorn ends where it could not start


def serve_here(workspace: Workspace, settings: Settings, host: str, port: int) -> None:
    """Serve this machine alone until told to stop."""
    _run(MainServer(configuration(settings)(create_app(workspace, settings), host=host, port=port)))


def serve_lan(
    workspace: Workspace,
    settings: Settings,
    host: str,
    ports: Ports,
    *,
    told: Callable[[WhereToFind, Guests, bool], None],
) -> None:
    """Serve this machine and paired devices of the local network until told to stop.

    Args:
        workspace: The data folder, opened.
        settings: Names and limits.
        host: Loopback address for this machine.
        ports: Where to listen.
        told: Told where phones find the server, at the start and whenever that changes; and whether the authority is
            new, so that every phone must install it.

    Raises:
        PortTaken: One of the ports cannot be had.
        FileNotWritten: The disk is full or refuses.
    """
    clock = workspace.database.clock
    authority, is_new = open_authority(workspace.folder, clock(), socket.gethostname())
    guests = Guests(workspace.database)
    app = create_app(workspace, settings, guests)
    configure = configuration(settings)
    serving = workspace.folder / FOLDER / SERVING_FILE
    side = LanSide(
        app,
        guests,
        authority,
        ports,
        configure,
        clock=clock,
        told=lambda where: told(where, guests, is_new),
        limits=settings.limits,
        ended=lambda: serving.unlink(missing_ok=True),  # uvicorn ends the process by the signal that it was sent
    )
    write_synced(serving, json.dumps({"port": ports.here}).encode(), PRIVATE_FILE)
    _run(MainServer(configure(app, host=host, port=ports.here), side))


def serving_port(data: Path) -> int | None:
    """Give the port on which a server with --lan answers at this machine; None where none says that it runs."""
    try:
        return int(json.loads((data / FOLDER / SERVING_FILE).read_bytes())["port"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
