"""`ohmtrail serve`: the server with its page, for this machine or for the shop's own network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data, Profile, SecondOpinion

STOP_S = 2
"""How long open connections may take to end when the server is told to stop, s; then they are cut."""


SWITCH_S = 0.0005
"""How long a thread may keep the others waiting once they want to run, s. A page gives the lock of Python away at each
of its statements and has to get it back from whoever stores or writes meanwhile; at Python's own 5 ms that adds up."""


def serve(
    data: Data = Path("data"),
    host: Annotated[
        str | None, typer.Option(help="Address to listen on; this machine only unless told otherwise.")
    ] = None,
    port: Annotated[int | None, typer.Option(min=1, max=65535, help="Port.")] = None,
    model: Annotated[
        Path | None, typer.Option(envvar="OHMTRAIL_SPEECH_MODEL", help="Directory of another vosk model.")
    ] = None,
    profile: Profile = None,
    second_opinion: SecondOpinion = True,
) -> None:
    """Start the server; the page is then at the address shown."""
    import sys

    import uvicorn

    from api.assessment.shop_limits import read_shop
    from api.intake.pooled import PooledEngines
    from api.server.app import create_app
    from api.server.protocol import guarded
    from api.server.routes.listen import MAX_FRAME
    from api.settings import read_settings
    from api.workspace import Workspace
    from capture.display.second_opinion.loading import lacking_second_reader
    from capture.speech.second_opinion.loading import lacking_second_opinion

    sys.setswitchinterval(SWITCH_S)
    settings = read_settings()
    host, port = host or settings.host, port or settings.port
    shop = None if profile is None else read_shop(profile)
    lacking = lacking_second_opinion() if second_opinion else ""
    for problem in (lacking, lacking_second_reader()):
        if problem:
            typer.echo(problem, err=True)
    engines = PooledEngines(model, second_opinion=second_opinion)
    try:
        workspace = Workspace.open(data, engines=engines, shop=shop)
    except BaseException:
        engines.close()
        raise
    if workspace.adopted:
        typer.echo(f"{len(workspace.adopted)} files left by an interruption were taken in as evidence.")
    typer.echo(f"Ohmtrail: http://{'localhost' if host == '127.0.0.1' else host}:{port}   data: {data.resolve()}")
    if shop is not None:
        typer.echo(f"Limits of the shop: {profile}, {len(shop.profile.notices)} loosened")
    if host not in ("127.0.0.1", "::1", "localhost"):
        typer.echo("Anybody on this network can reach it. Names it answers to: " + ", ".join(settings.hosts))
    try:
        uvicorn.run(
            create_app(workspace, settings),
            host=host,
            port=port,
            http=guarded(settings.limits),
            ws_max_size=MAX_FRAME,
            ws_per_message_deflate=False,  # sound does not shrink, and each connection would hold memory for it
            proxy_headers=False,  # limits count by the address of the peer, which no header can change
            timeout_graceful_shutdown=STOP_S,
            server_header=False,
            log_level="warning",
        )
    finally:
        engines.close()
