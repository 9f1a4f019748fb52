"""`ohmtrail devices`: the devices that may come in from the network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.commands.options import Data

if TYPE_CHECKING:
    from api.ledger.canonical import PlainData


def devices(
    pair: Annotated[bool, typer.Option("--pair", help="Make a code to pair another; the server must run.")] = False,
    role: Annotated[str, typer.Option("--role", help="technician or reader, with --pair.")] = "technician",
    person: Annotated[str, typer.Option("--person", help="Who will work with it, with --pair.")] = "",
    revoke: Annotated[str | None, typer.Option("--revoke", help="Number of a device whose pairing ends.")] = None,
    data: Data = Path("data"),
) -> None:
    """List the devices that were paired, make a code for another, or end a pairing.

    A revoked device is out within seconds, open connections included.
    """
    from rich.console import Console
    from rich.table import Table

    from api.access.devices import all_devices, revoke_device
    from api.access.roles import role_of
    from api.workspace import Workspace

    if pair:
        role_of(role)
        _show(_code(data, role, person))
        return
    workspace = Workspace.attach(data)
    try:
        if revoke is not None:
            typer.echo(f"{revoke_device(workspace.database, revoke).id} is revoked.")
        with workspace.database.read() as session:
            found = all_devices(session)
    finally:
        workspace.close()
    table = Table("device", "name", "person", "role", "paired", "revoked")
    for one in found:
        days = (one.paired_at[:16].replace("T", " "), one.revoked_at[:16].replace("T", " "))
        table.add_row(one.id, one.name, one.person, one.role.value, *days)
    Console().print(table)


def _code(data: Path, role: str, person: str) -> PlainData:
    """Ask the running server for a code: it holds them in its memory alone.

    Raises:
        NotServing: No server answers.
    """
    import http.client
    import json

    from api.access.errors import NotServing
    from api.server.running import serving_port

    port = serving_port(data)
    if port is None:
        raise NotServing(folder=str(data))
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        body = json.dumps({"role": role, "person": person})
        connection.request("POST", "/api/devices/codes", body, {"content-type": "application/json"})
        answer = connection.getresponse()
        said: PlainData = json.loads(answer.read())
    except (OSError, ValueError, http.client.HTTPException):
        raise NotServing(folder=str(data)) from None
    finally:
        connection.close()
    if answer.status != 201:
        typer.echo(f"{said['message']} {said['what_to_do']}", err=True)
        raise typer.Exit(1)
    return said


def _show(made: PlainData) -> None:
    from api.commands.serve import qr_for_terminal

    code = str(made["code"])
    typer.echo(qr_for_terminal(str(made["address"])))
    typer.echo(
        f"Code: {code[:4]} {code[4:]}, for {made['lives_s'] // 60} minutes, at {made['address'].partition('#')[0]}"
    )
