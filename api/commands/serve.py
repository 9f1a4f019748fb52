"""`ohmtrail serve`: the server with its page, for this machine or for the shop's own network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data, Profile, SecondOpinion

if TYPE_CHECKING:
    from api.access.guests import Guests, WhereToFind

SWITCH_S = 0.0005
"""How long a thread may keep the others waiting once they want to run, s. A page gives the lock of Python away at each
of its statements and has to get it back from whoever stores or writes meanwhile; at Python's own 5 ms that adds up."""


def serve(
    data: Data = Path("data"),
    host: Annotated[str | None, typer.Option(help="Loopback address to listen on.")] = None,
    port: Annotated[int | None, typer.Option(min=1, max=65533, help="Port; with --lan the next two as well.")] = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let paired phones of the local network in, over TLS on the next port.")
    ] = False,
    model: Annotated[
        Path | None, typer.Option(envvar="OHMTRAIL_SPEECH_MODEL", help="Directory of another vosk model.")
    ] = None,
    profile: Profile = None,
    second_opinion: SecondOpinion = True,
) -> None:
    """Start the server; the page is then at the address shown."""
    import sys

    from api.access.addresses import is_loopback
    from api.access.errors import HostUnguarded
    from api.assessment.shop_limits import read_shop
    from api.intake.pooled import PooledEngines
    from api.server.lan import ports_from
    from api.server.running import serve_here, serve_lan
    from api.settings import read_settings
    from api.workspace import Workspace
    from capture.display.second_opinion.loading import lacking_second_reader
    from capture.speech.second_opinion.loading import lacking_second_opinion

    sys.setswitchinterval(SWITCH_S)
    settings = read_settings()
    host, port = host or settings.host, port or settings.port
    if host != "localhost" and not is_loopback(host):
        raise HostUnguarded(host=host)
    shop = None if profile is None else read_shop(profile)
    lacking = lacking_second_opinion() if second_opinion else ""
    for problem in (lacking, lacking_second_reader()):
        if problem:
            typer.echo(problem, err=True)
    engines = PooledEngines(model, second_opinion=second_opinion)
    try:
        workspace = Workspace.open(data, engines=engines, shop=shop)
        if workspace.adopted:
            typer.echo(f"{len(workspace.adopted)} files left by an interruption were taken in as evidence.")
        typer.echo(f"Ohmtrail: http://{'localhost' if host == '127.0.0.1' else host}:{port}   data: {data.resolve()}")
        if shop is not None:
            typer.echo(f"Limits of the shop: {profile}, {len(shop.profile.notices)} loosened")
        if lan:
            serve_lan(workspace, settings, host, ports_from(port), told=tell_where)
        else:
            serve_here(workspace, settings, host, port)
    finally:
        engines.close()


def qr_for_terminal(text: str) -> str:
    """Draw a QR code in half blocks."""
    import io

    import segno

    out = io.StringIO()
    segno.make_qr(text, error="l").terminal(out=out, border=2, compact=True)
    return out.getvalue()


def tell_where(where: WhereToFind, guests: Guests, is_new: bool) -> None:
    """Print where phones find the server, with a code to pair the first."""
    from api.access.codes import LIFE_S, Grant
    from api.access.roles import Role

    if not where.addresses:
        typer.echo("This machine has no address in a private network at the moment; phones can come in once it has.")
        return
    code = guests.codes.make(Grant(Role.TECHNICIAN))
    typer.echo("")
    if is_new:
        typer.echo("A certificate authority was made: every phone has to install it once.")
    typer.echo("1. Once for each phone, how to trust this laptop: " + where.trust_page())
    typer.echo(qr_for_terminal(where.trust_page()))
    typer.echo(f"   Fingerprint to compare there (SHA-256): {where.fingerprint}")
    typer.echo(f"2. Open and pair, within {LIFE_S // 60} minutes: {where.pairing_page(code)}")
    typer.echo(qr_for_terminal(where.pairing_page(code)))
    typer.echo(f"   Code: {code[:4]} {code[4:]}   another one: ohmtrail devices --pair")
    typer.echo("   Other addresses of the page: " + "  ".join(where.pages()[1:]))
