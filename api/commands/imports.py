"""`ohmtrail import`: an export of another data folder, taken in to look at and to compare with."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def imports(
    place: Annotated[Path | None, typer.Argument(metavar="EXPORT", help="Folder or ZIP file.")] = None,
    look: Annotated[
        bool, typer.Option("--look", help="Show it, marked if it does not verify; take nothing in.")
    ] = False,
    listed: Annotated[bool, typer.Option("--list", help="Show what was imported.")] = False,
    data: Data = Path("data"),
) -> None:
    """Take an export in, read-only, for the trend of the next visit to the same machine.

    Exit status: 0 taken in, or looked at and intact; 1 it does not verify, or cannot be read.
    """
    from rich.console import Console
    from rich.markup import escape

    from api.exchange.imported import import_bag, imports_of, look_at, title_of
    from api.workspace import Workspace

    console = Console(highlight=False, soft_wrap=True)
    if look and place is not None:
        found = look_at(place)
        mark = "" if found.intact else "[red]NOT VERIFIED[/red] "
        for sentence in (*found.problems, *found.notes):
            console.print(f"{mark}{escape(sentence)}")
        for (table, key), row in found.rows.items():
            if table == "record" and row["job_id"] == found.job:
                said = " ".join(str(row[name]) for name in ("axis", "terminals", "qualifier", "value", "unit"))
                console.print(f"{mark}{escape(f'{key}: {said}')}")
        raise typer.Exit(0 if found.intact else 1)
    workspace = Workspace.attach(data)
    try:
        if place is not None:
            with console.status("Verifying…"):
                taken = import_bag(workspace.database, workspace.evidence, place)
            for note in taken.found.notes:
                console.print(f"note: {escape(note)}")
            word = "taken in" if taken.new else "was here already"
            console.print(f"{escape(str(place))}: {taken.found.records} records, intact, {word} as {taken.sha256}")
        if listed or place is None:
            with workspace.database.read() as session:
                for bag in imports_of(session):
                    console.print(f"{bag.sha256[:16]}  {bag.stored_at}  {escape(title_of(bag))}")
    finally:
        workspace.close()
