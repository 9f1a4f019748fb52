"""`ohmtrail keys`: the keys that sign the trail's heads."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def keys(
    rotate: Annotated[bool, typer.Option("--rotate", help="Make a new key, endorsed by the present one.")] = False,
    public: Annotated[Path | None, typer.Option("--public", help="Write the public key to this file, PEM.")] = None,
    data: Data = Path("data"),
) -> None:
    """Show the key that signs, and those before it; a new one takes its place with --rotate.

    The private key lies in signing-key.pem in the data folder, for its user alone. It is in no backup: copy it yourself
    to where only you can read it. If it is lost, the next start makes another, and every verification says so.
    """
    from api.ledger.signing import fingerprint, public_pem
    from api.proof.heads import named_keys
    from api.workspace import Workspace

    workspace = Workspace.attach(data)
    try:
        if rotate:
            workspace.database.rotate_key()
        now = workspace.database.signing_key().public
        with workspace.database.read() as session:
            named = named_keys(session)
    finally:
        workspace.close()
    for seq, key, endorsed in named:
        how = "" if seq == named[0][0] else ", endorsed by the one before" if endorsed else ", the one before was lost"
        typer.echo(f"{fingerprint(key)}  since entry {seq}{how}{'; signs now' * (key == now)}")
    if not any(key == now for _, key, _ in named):
        typer.echo(f"{fingerprint(now)}  signs from the next entry on")
    if public is not None:
        public.write_text(public_pem(now), "ascii")
        typer.echo(f"{public}: the public key")
