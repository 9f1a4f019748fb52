"""`ohmtrail witness`: let somebody outside see the head of the trail, or see another's."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data

if TYPE_CHECKING:
    from api.ledger.database import Database
    from api.ledger.store import Store


def witness(
    server: Annotated[str, typer.Option(envvar="OHMTRAIL_TSA", help="Time-stamping server, RFC 3161.")] = "",
    head: Annotated[Path | None, typer.Option(help="File to write the signed head to, for a witness.")] = None,
    request: Annotated[Path | None, typer.Option(help="File to write a request for a time-stamp to.")] = None,
    add: Annotated[
        Path | None, typer.Option(help="Keep what came back: a witness's signature, or the answer to --request.")
    ] = None,
    sign: Annotated[Path | None, typer.Option(help="Sign another's head; needs --out and --by.")] = None,
    out: Annotated[Path | None, typer.Option(help="Where to write the signature.")] = None,
    by: Annotated[str, typer.Option(help="Who signs, in words.")] = "",
    data: Data = Path("data"),
) -> None:
    """Have the trail's head witnessed: by a time-stamping server, or by file by the owner of another Ohmtrail.

    Against a witness nobody can write the trail anew, not even with the key. Without options: the head in words.
    """
    from api.ledger.signing import fingerprint
    from api.ledger.timestamps import request_for
    from api.proof import witness as witnesses
    from api.proof.words import qr_text, words_of
    from api.workspace import Workspace

    workspace = Workspace.attach(data)
    try:
        database, evidence = workspace.database, workspace.evidence
        if sign is not None:
            if out is None or not by:
                raise typer.BadParameter("--sign needs --out FILE and --by WHO.")
            out.write_text(witnesses.give_witness(database, witnesses.read_head_file(sign), by), "utf-8")
            typer.echo(f"{out}: send this back")
            return
        if add is not None:
            typer.echo(_added(database, evidence, add))
            return
        now = witnesses.present_head(database)
        typer.echo(f"entry {now.size}: {words_of(now.root)}; key {fingerprint(now.key)}")
        if head is not None:
            head.write_text(qr_text(now), "utf-8")
            typer.echo(f"{head}: the signed head")
        if request is not None:
            request.write_bytes(request_for(now))
            beside = request.with_suffix(".head.json")
            beside.write_text(qr_text(now), "utf-8")
            typer.echo(
                f"{request}: the request. Keep {beside} beside it; --add takes the answer, named as the request."
            )
        if server:
            at = witnesses.keep_time_stamp(database, evidence, now, witnesses.ask_server(server, now))
            typer.echo(f"stamped at {at}")
    finally:
        workspace.close()


def _added(database: Database, evidence: Store, path: Path) -> str:
    from api.proof import witness as witnesses

    data = path.read_bytes()
    if data[:1] == b"{":
        head = witnesses.keep_witness(database, data.decode("utf-8", "replace"))
        return f"entries 1 to {head.size}: witnessed"
    head = witnesses.read_head_file(path.with_suffix(".head.json"))
    at = witnesses.keep_time_stamp(database, evidence, head, data)
    return f"entries 1 to {head.size}: stamped at {at}"
