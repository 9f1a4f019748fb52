"""`ohmtrail backup`: one archive of the data folder, taken while the server runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from api.commands.options import Data


def backup(
    to: Annotated[Path, typer.Argument(help="File to write, or a folder, in which it is named by its time.")],
    data: Data = Path("data"),
) -> None:
    """Write a backup of the data folder to one ZIP file; the server may go on meanwhile.

    Exit status: 0 written; 1 not written, or something in the folder was missing or changed; 2 misuse; 3 no folder or
    database there, or it cannot be read.
    """
    import sqlite3

    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    from api.ledger.backup import back_up
    from api.ledger.verify import ExitStatus

    console = Console(highlight=False, soft_wrap=True)
    if not (data / "ohmtrail.db").is_file():
        console.print(f"[red]missing:[/red] there is no database in {escape(str(data))}.")
        raise typer.Exit(ExitStatus.NOT_READ)
    try:
        with Progress(console=console, transient=True) as shown:
            task = shown.add_task("Backing up")
            made = back_up(data, to, lambda done, of: shown.update(task, completed=done, total=of))
    except (sqlite3.Error, OSError) as error:
        console.print(f"[red]not read:[/red] {escape(str(error))}. Run `ohmtrail verify` to see more.")
        raise typer.Exit(ExitStatus.NOT_READ) from None
    for fault in made.faults:
        console.print(f"[red]changed:[/red] {escape(fault)}")
    console.print(f"{escape(str(made.path))}: {made.entries} entries, {made.files} files, {made.size} bytes")
    if made.faults:
        console.print("The backup holds the folder as it was found. Run `ohmtrail verify` on it.")
        raise typer.Exit(ExitStatus.CHANGED)
